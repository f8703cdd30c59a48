//! `setup`: finds the readouts and writes a first version of the setup file.

use std::path::{Path, PathBuf};

use clap::Args;
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, OutputKind, WriteRules};
use pairspeed::footage::Clip;
use pairspeed::model::channel::Channel;
use pairspeed::new_camera::{ProposedRegions, propose_regions};
use pairspeed::picture::{Label, annotate, check_path, save_png};
use pairspeed::setup::{Camera, Setup, usual_setup};

use super::progress::ShareBar;
use super::{Failure, begin, existing_or, picture_failure};
use crate::quoting::quoted;

#[derive(Debug, Args)]
pub struct SetupArguments {
    /// The clip in which the readouts are found
    clip: PathBuf,
    /// File for the setup. Default: beside the clip. An image of the boxes is saved beside it under the same
    /// name, ending in .png
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace an existing setup file, and an image that this program did not make
    #[arg(long)]
    force: bool,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

pub fn run(arguments: &SetupArguments) -> Result<(), Failure> {
    let file = arguments.out.clone().unwrap_or_else(|| usual_setup(&arguments.clip));
    let picture = file.with_extension("png");
    let rules = WriteRules::from(existing_or(arguments.force, Existing::Keep)).with_inputs([&arguments.clip]);
    let picture_rules = rules.with_existing(existing_or(arguments.force, Existing::ReplaceOwn));
    if file.exists() && !arguments.force {
        return Err(Failure::Misuse(format!(
            "{} exists already: give --force to replace it, or name another file with --out",
            file.display()
        )));
    }
    check_files(&file, &picture, &rules, &picture_rules)?;
    begin(Confinement::default().reading([&arguments.clip]).writing(&file).writing(&picture));
    let mut clip = Clip::open(&arguments.clip)?;
    let bar = ShareBar::new("looking for the overlay");
    let ProposedRegions { regions, still } = propose_regions(&mut clip, &|share| bar.set(share))?;
    drop((bar, clip));
    let Some(still) = still.filter(|_| !regions.is_empty()) else {
        return Err(Failure::Failed(format!(
            "{}: no readouts were found; write a setup file by hand (see README.md)",
            arguments.clip.display()
        )));
    };
    let name = arguments.clip.file_stem().unwrap_or_default().to_string_lossy();
    let camera = Camera { name: format!("{name} camera"), frame: still.dimensions(), glyphs: None };
    let setup = Setup { camera, aircraft: None, regions };
    setup.save(&file, &rules).map_err(Failure::advised)?;
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
    save_png(&annotate(&still, &labels), &picture, &picture_rules).map_err(Failure::misuse)?;
    if arguments.json {
        let json = serde_json::json!({
            "setup": file.to_string_lossy(), "picture": picture.to_string_lossy(), "regions": setup.regions,
        });
        super::print_json(&json.to_string());
        return Ok(());
    }
    print_line!("Setup: {}", file.display());
    print_line!("Image of the boxes: {}", picture.display());
    print_line!(
        "Next: look at the image and complete the file; its comments list what is missing: names, units, decimals."
    );
    print_line!(
        "Then see what is read in each box, for example at 30 s: pairspeed inspect {} --setup {} --at 30",
        quoted(&arguments.clip),
        quoted(&file)
    );
    if !setup.regions.iter().any(|region| region.channel == Channel::Speed) {
        print_line!("No box was recognised as the speed: name one of them `speed`.");
    }
    Ok(())
}

/// Checks that the setup and its image may be written, before the clip is searched.
fn check_files(
    file: &Path,
    picture: &Path,
    rules: &WriteRules,
    picture_rules: &WriteRules,
) -> Result<(), Failure> {
    if file == picture {
        return Err(Failure::Misuse(format!(
            "--out {}: this is the name of the image of the boxes; give the setup file a name that ends in .toml",
            file.display()
        )));
    }
    let refused = |refusal| {
        Failure::Misuse(format!("--out {}: {refusal}; name another file for the setup", file.display()))
    };
    rules.check(file, OutputKind::Document).map_err(refused)?;
    check_path(picture, picture_rules).map_err(|error| picture_failure(&error))
}
