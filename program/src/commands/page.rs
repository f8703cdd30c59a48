//! What a command leaves that works on former results: text, JSON, or a page to print.

use std::path::{Path, PathBuf};

use clap::Args;
use pairspeed::files::{Existing, write_whole};
use pairspeed::output::RenderError;

use super::Failure;

/// Options of where the answer goes.
#[derive(Debug, Args)]
pub struct PageArguments {
    /// Write it as a page to print too, an HTML file
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace the page if it exists
    #[arg(long)]
    force: bool,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

/// The answer in each form; only what is asked for is made.
pub struct Answer<Page, Json, Text> {
    /// The page to print.
    pub page: Page,
    /// For other programs.
    pub json: Json,
    /// For the terminal.
    pub text: Text,
}

impl PageArguments {
    /// Writes the page where one is asked for and prints the answer.
    ///
    /// # Errors
    /// [`Failure::Misuse`] where the page cannot be written, [`Failure::Failed`] where the answer cannot be made.
    pub fn give<Page, Json, Text>(&self, answer: Answer<Page, Json, Text>) -> Result<(), Failure>
    where
        Page: FnOnce() -> String,
        Json: FnOnce() -> Result<String, RenderError>,
        Text: FnOnce() -> String,
    {
        if let Some(out) = &self.out {
            write_page(out, &(answer.page)(), self.force)?;
        }
        if self.json {
            print_line!("{}", (answer.json)().map_err(Failure::failed)?);
            return Ok(());
        }
        super::print_text(&(answer.text)());
        if let Some(out) = &self.out {
            print_line!("Page: {}", out.display());
        }
        Ok(())
    }
}

/// Writes a page and says where it went wrong.
fn write_page(path: &Path, page: &str, force: bool) -> Result<(), Failure> {
    let existing = if force { Existing::Replace } else { Existing::Keep };
    write_whole(path, page.as_bytes(), existing).map_err(|error| match error.kind() {
        std::io::ErrorKind::AlreadyExists => Failure::Misuse(format!(
            "{} exists already: give --force to replace it, or name another file with --out",
            path.display()
        )),
        _ => {
            Failure::Misuse(format!("cannot write {}: {error}; name another file with --out", path.display()))
        }
    })
}
