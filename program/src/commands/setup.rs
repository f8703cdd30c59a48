//! `setup`: finds the readouts and writes a first version of the setup file.

use std::path::PathBuf;

use clap::Args;
use pairspeed::files::Existing;
use pairspeed::footage::Clip;
use pairspeed::model::channel::Channel;
use pairspeed::new_camera::{ProposedRegions, propose_regions};
use pairspeed::picture::{Label, annotate, save_png};
use pairspeed::setup::{Camera, Setup, usual_setup};

use super::Failure;
use super::progress::ShareBar;
use crate::quoting::quoted;

#[derive(Debug, Args)]
pub struct SetupArguments {
    /// The clip
    clip: PathBuf,
    /// File for the setup. Default: beside the clip. An image of the boxes is saved beside it under the same
    /// name, ending in .png
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace an existing setup file
    #[arg(long)]
    force: bool,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

pub fn run(arguments: &SetupArguments) -> Result<(), Failure> {
    let file = arguments.out.clone().unwrap_or_else(|| usual_setup(&arguments.clip));
    let existing = if arguments.force { Existing::Replace } else { Existing::Keep };
    if file.exists() && !arguments.force {
        return Err(Failure::Misuse(format!(
            "{} exists already: give --force to replace it, or name another file with --out",
            file.display()
        )));
    }
    let mut clip = Clip::open(&arguments.clip)?;
    let bar = ShareBar::new("looking for the overlay");
    let ProposedRegions { regions, still } = propose_regions(&mut clip, &|share| bar.set(share))?;
    drop(bar);
    let Some(still) = still.filter(|_| !regions.is_empty()) else {
        return Err(Failure::Failed(format!(
            "{}: no readouts were found; write a setup file by hand (see README.md)",
            arguments.clip.display()
        )));
    };
    let name = arguments.clip.file_stem().unwrap_or_default().to_string_lossy();
    let camera = Camera { name: format!("{name} camera"), frame: still.dimensions(), glyphs: None };
    let setup = Setup { camera, aircraft: None, regions };
    setup.save(&file, existing).map_err(Failure::advised)?;
    let labels: Vec<Label> = setup
        .regions
        .iter()
        .enumerate()
        .map(|(number, region)| Label {
            rect: region.rect,
            title: format!("{} {}", number + 1, region.channel.name()),
            detail: String::new(),
        })
        .collect();
    let picture = file.with_extension("png");
    save_png(&annotate(&still, &labels), &picture, Existing::Replace).map_err(Failure::misuse)?;
    if arguments.json {
        print_line!("{}", serde_json::json!({ "setup": file, "picture": picture, "regions": setup.regions }));
        return Ok(());
    }
    print_line!("Setup: {}", file.display());
    print_line!("Image of the boxes: {}", picture.display());
    print_line!(
        "Next: look at the image and complete the file; its comments list what is missing: names, units, decimals."
    );
    print_line!("Then: pairspeed inspect {} --setup {} --at 30", quoted(&arguments.clip), quoted(&file));
    if !setup.regions.iter().any(|region| region.channel == Channel::Speed) {
        print_line!("None of the boxes is known to show the speed: name one of them `speed`.");
    }
    Ok(())
}
