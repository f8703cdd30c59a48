//! The layout of the pages to print: one self-contained HTML file that fits A4 and Letter.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::visible;

/// Style sheet of the pages.
const STYLE: &str = include_str!("page.css");

/// Content security policy of every page: it may use its own styles, and nothing else. No script runs, and nothing is
/// loaded or sent, even if a file name or a note contains HTML. Source: W3C Content Security Policy Level 3.
pub(super) const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// Maximum length of a line of text for the terminal, in characters (set by judgement).
pub(super) const WIDTH: usize = 100;

/// A whole HTML page with a title and a body. Control characters are escaped.
pub(super) fn page(title: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (body)
                footer { "Made by pairspeed " (env!("CARGO_PKG_VERSION")) "." }
            }
        }
    };
    visible::lines(&page.into_string()).into_owned()
}

/// A list of sentences under a heading; empty without sentences.
pub(super) fn sentences(heading: &str, sentences: &[String]) -> Markup {
    html! {
        @if !sentences.is_empty() {
            h2 { (heading) }
            ul { @for sentence in sentences { li { (sentence) } } }
        }
    }
}

/// A box with cautions for the pilot.
pub(super) fn cautions(cautions: &[&str]) -> Markup {
    html! {
        section.cautions {
            h2 { "Cautions" }
            ul { @for caution in cautions { li { (caution) } } }
        }
    }
}

/// Rows of texts in aligned columns: the first and the last column left-aligned, the others right-aligned.
pub(super) fn columns(rows: &[Vec<String>]) -> Vec<String> {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width =
        |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max();
    let widths: Vec<usize> = (0..count).map(|column| width(column).unwrap_or(0)).collect();
    rows.iter()
        .map(|row| {
            let cells = row.iter().zip(&widths).enumerate().map(|(column, (cell, width))| {
                if column == 0 || column + 1 == count {
                    format!("{cell:<width$}")
                } else {
                    format!("{cell:>width$}")
                }
            });
            cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
        })
        .collect()
}

/// Wraps a sentence at its spaces; all lines but the first are indented. Control characters are removed, because they
/// could change the state of the terminal.
pub(super) fn wrapped(text: &str) -> Vec<String> {
    let plain: String = text.chars().filter(|c| c.is_whitespace() || !c.is_control()).collect();
    let mut lines: Vec<String> = Vec::new();
    for word in plain.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= WIDTH => {
                line.push(' ');
                line.push_str(word);
            }
            Some(_) => lines.push(format!("  {word}")),
            None => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn control_characters_of_title_and_body_are_escaped() {
        let page = page("a\u{1b}[2J", &html! { p title="b\u{202e}" { "c\u{9b}\n" } });
        assert!(page.contains("a\\u{1b}[2J") && page.contains("b\\u{202e}") && page.contains("c\\u{9b}\n"));
        assert_eq!(visible::lines(&page), page);
    }
}
