//! Explains which channels cannot be read, why, and which frames the pilot can label to make them readable.

use maud::{Markup, html};

use crate::files::file_name;
use crate::flight::Flight;
use crate::model::channel::Channel;
use crate::readings::{UnreadCause, UnreadChannel};

use super::page::{WIDTH, wrapped};

/// A sentence for the pilot about a channel that cannot be read: which channel, why, and at which times its
/// readings can be labelled.
pub fn sentence(unread: &UnreadChannel) -> String {
    let name = unread.channel.name();
    let moments = moments(&unread.label_at_s);
    let why = match unread.cause {
        UnreadCause::NoGlyphsFit if moments.is_none() => "its region shows no text".to_owned(),
        UnreadCause::NoGlyphsFit => "no known glyphs match the text in its region".to_owned(),
        UnreadCause::RarelyReadable { share } if share > 0.0 => {
            format!("its region is readable in only {:.1} % of the sampled frames", 100.0 * share)
        }
        UnreadCause::RarelyReadable { .. } => {
            "its region is readable in none of the sampled frames".to_owned()
        }
    };
    let consequence = match unread.channel {
        Channel::Speed => ", so there are no legs and no airspeed",
        _ => "",
    };
    let next = moments.map_or_else(
        || "leave this channel out of the setup".to_owned(),
        |moments| {
            let clip = file_name(&unread.clip);
            let dots = if unread.command.is_some() {
                " (in the command, replace the dots with the text that the readout shows at that time)"
            } else {
                ""
            };
            format!("label its readings in {clip} at {moments}{dots}")
        },
    );
    format!(
        "Channel {name} is not read: {why}{consequence}; {next}, or mark its box again if the \
         text stands elsewhere."
    )
}

/// Times in words, such as `4.20 s, 12.40 s and 31.07 s`; `None` if there are none.
fn moments(times_s: &[f64]) -> Option<String> {
    let words: Vec<String> = times_s.iter().map(|time_s| format!("{time_s:.2} s")).collect();
    let (last, others) = words.split_last()?;
    Some(if others.is_empty() { last.clone() } else { format!("{} and {last}", others.join(", ")) })
}

/// A sentence for each channel that cannot be read, with the command in it, for formats without separate
/// lines for commands.
pub(super) fn sentences(flight: &Flight) -> Vec<String> {
    let with_command = |unread: &UnreadChannel| match &unread.command {
        Some(parts) => format!("{} Command: `{}`", sentence(unread), parts.join(" ")),
        None => sentence(unread),
    };
    flight.legibility.unread.iter().map(with_command).collect()
}

/// The channels that cannot be read, for the terminal, each with its command on lines of its own that can be
/// copied.
pub(super) fn lines(flight: &Flight) -> Vec<String> {
    let of = |unread: &UnreadChannel| {
        let command = unread.command.as_deref().map(command_lines).unwrap_or_default();
        [wrapped(&sentence(unread)), command].concat()
    };
    flight.legibility.unread.iter().flat_map(of).collect()
}

/// A command on as many lines as it needs, joined by backslashes, so that a shell reads it as one command
/// (POSIX.1-2017, Shell Command Language, 2.2.1).
fn command_lines(parts: &[String]) -> Vec<String> {
    const CONTINUED: &str = " \\";
    let mut lines: Vec<String> = Vec::new();
    for part in parts {
        // Control characters in a file name could change the state of the terminal.
        let part: String = part.chars().filter(|letter| !letter.is_control()).collect();
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + part.chars().count() + CONTINUED.len() <= WIDTH => {
                line.push(' ');
                line.push_str(&part);
            }
            Some(line) => {
                line.push_str(CONTINUED);
                lines.push(format!("      {part}"));
            }
            None => lines.push(format!("    {part}")),
        }
    }
    lines
}

/// The section of the report on channels that cannot be read; empty if all can be read.
pub(super) fn section(flight: &Flight) -> Markup {
    html! {
        @if !flight.legibility.unread.is_empty() {
            section {
                h2 { "Not read" }
                ul {
                    @for unread in &flight.legibility.unread {
                        li {
                            (sentence(unread))
                            @if let Some(parts) = &unread.command { pre { code { (parts.join(" \\\n  ")) } } }
                        }
                    }
                }
            }
        }
    }
}
