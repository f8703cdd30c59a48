//! Output of a command that evaluates earlier results: as text, as JSON, or as a page to print.

use std::path::{Path, PathBuf};

use clap::Args;
use pairspeed::files::{Existing, WriteRules, write_whole};
use pairspeed::output::RenderError;

use super::{Failure, existing_or};

/// Command line options for the form of the output.
#[derive(Debug, Args)]
pub struct PageArguments {
    /// Also write a page to print, an HTML file
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace the page if it exists
    #[arg(long)]
    force: bool,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

/// Functions that make the output in each form; only the requested form is made.
pub struct CommandOutput<Page, Json, Text> {
    /// Makes the page to print, as HTML.
    pub page: Page,
    /// Makes the output for other programs, as JSON.
    pub json: Json,
    /// Makes the output for the terminal, as text.
    pub text: Text,
}

impl PageArguments {
    /// Writes the page if requested, and prints the result. `inputs` are the files that the command reads.
    ///
    /// # Errors
    /// [`Failure::Misuse`] if the page cannot be written, [`Failure::Failed`] if the result cannot be made.
    pub fn give<Page, Json, Text>(
        &self,
        inputs: &[PathBuf],
        answer: CommandOutput<Page, Json, Text>,
    ) -> Result<(), Failure>
    where
        Page: FnOnce() -> String,
        Json: FnOnce() -> Result<String, RenderError>,
        Text: FnOnce() -> String,
    {
        if let Some(out) = &self.out {
            let rules = WriteRules::from(existing_or(self.force, Existing::Keep)).with_inputs(inputs);
            write_page(out, &(answer.page)(), &rules)?;
        }
        if self.json {
            super::print_json(&(answer.json)().map_err(Failure::failed)?);
            return Ok(());
        }
        super::print_text(&(answer.text)());
        if let Some(out) = &self.out {
            print_line!("Page: {}", out.display());
        }
        Ok(())
    }
}

/// Writes a page to a file; an error names the file.
fn write_page(path: &Path, page: &str, rules: &WriteRules) -> Result<(), Failure> {
    write_whole(path, page.as_bytes(), rules).map_err(|error| match error.kind() {
        std::io::ErrorKind::AlreadyExists => Failure::Misuse(format!(
            "{} exists already: give --force to replace it, or name another file with --out",
            path.display()
        )),
        _ => {
            Failure::Misuse(format!("cannot write {}: {error}; name another file with --out", path.display()))
        }
    })
}
