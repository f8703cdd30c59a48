//! The scenarios that come with the project, and the description of their keys.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use clip_generator::Scenario;

fn scenario_files(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let files = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    files.filter(|path| path.extension().is_some_and(|suffix| suffix == "toml")).collect()
}

fn readme() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap()
}

#[test]
fn every_benchmark_scenario_is_valid_named_after_its_class_and_described() {
    let files = scenario_files("scenarios");
    assert_eq!(files.len(), 11);
    let readme = readme();
    for path in files {
        let scenario = Scenario::from_file(&path).unwrap();
        assert_eq!(scenario.name, path.file_stem().unwrap().to_str().unwrap());
        assert!(
            readme.contains(&format!("| `{}` |", scenario.name)),
            "{} is not in the README",
            scenario.name
        );
    }
}

#[test]
fn the_readme_names_every_key_of_a_scenario() {
    let text = "name = \"all\"\n[airframe]\nairspeed_mps = [[50, 20]]\n[flight]\nthrottle_percent = [50]\n\
        lone_leg = { throttle_percent = 50, length_s = 5 }\ndead_throttle_percent = 40\n\
        [overlay]\n[[overlay.field]]\nchannel = \"speed\"\nposition = [1, 1]\nwidth = 3\nunit = \"m/s\"\n\
        font = \"block\"\nheight_px = 20\nedge_px = 1\nicon = \"speed\"\n[scenery]\nbackground = \"film.mp4\"\n\
        [degradation]\necho = { delay_px = 5, strength = 0.1 }\nlost_lines = { bursts_per_s = 1, lines = 5 }\n\
        composite = \"pal\"\nsignal_loss = [{ start_s = 1, length_s = 1, look = \"blue\" }]\n\
        [video]\nlength_s = 9\n";
    let table = toml::Value::try_from(Scenario::from_toml(text).unwrap()).unwrap();
    let mut keys = BTreeSet::new();
    collect_keys(&table, &mut keys);
    let readme = readme();
    let named: BTreeSet<&str> = readme
        .split('`')
        .skip(1)
        .step_by(2)
        .flat_map(|code| code.split(|c: char| !c.is_ascii_alphanumeric() && c != '_'))
        .collect();
    let missing: Vec<&String> = keys.iter().filter(|key| !named.contains(key.as_str())).collect();
    assert!(keys.len() > 70 && missing.is_empty(), "{} keys, not in the README: {missing:?}", keys.len());
}

fn collect_keys(value: &toml::Value, keys: &mut BTreeSet<String>) {
    match value {
        toml::Value::Table(table) => {
            for (key, value) in table {
                keys.insert(key.clone());
                collect_keys(value, keys);
            }
        }
        toml::Value::Array(values) => values.iter().for_each(|value| collect_keys(value, keys)),
        _ => {}
    }
}
