//! Writes the man pages and the completions of bash, zsh and fish, which packages contain. `scripts/release` runs it.

use std::error::Error;
use std::path::PathBuf;

use clap_complete::Shell;

/// Name of the program, under which the completions are written.
const NAME: &str = "pairspeed";

fn main() -> Result<(), Box<dyn Error>> {
    let folder = PathBuf::from(std::env::args_os().nth(1).ok_or("usage: package-files FOLDER")?);
    let (pages, completions) = (folder.join("man"), folder.join("completions"));
    std::fs::create_dir_all(&pages)?;
    std::fs::create_dir_all(&completions)?;
    // The pages name the version alone: the rest belongs to one build.
    clap_mangen::generate_to(pairspeed_program::definition().long_version(None), &pages)?;
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
        clap_complete::generate_to(shell, &mut pairspeed_program::definition(), NAME, &completions)?;
    }
    Ok(())
}
