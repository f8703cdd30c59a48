//! Tests which glyph sets are used with a setup.
#![allow(clippy::unwrap_used)]

use pairspeed::files::Existing;
use pairspeed::glyph_sets;
use pairspeed::glyphs::{GlyphSet, builtin_sets};
use pairspeed::setup::LoadedSetup;

const SETUP: &str = "[camera]\nname = \"nose\"\nframe = [640, 480]\n[[region]]\nchannel = \"speed\"\nbox = [62, 210, 66, 37]\nunit = \"km/h\"\n";

#[test]
fn a_set_taught_beside_the_setup_overrides_the_built_in_ones() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("nose.setup.toml");
    std::fs::write(&path, SETUP).unwrap();
    let setup = LoadedSetup::load(&path).unwrap();
    let builtin = builtin_sets().unwrap();
    assert_eq!(glyph_sets(&setup).unwrap(), builtin);

    let taught =
        GlyphSet { name: "taught".to_owned(), any_size: false, ..builtin.into_iter().next().unwrap() };
    taught.save(&setup.glyph_folder(), Existing::ReplaceOwn).unwrap();
    let used = glyph_sets(&setup).unwrap();
    assert_eq!(used.iter().map(|set| set.name.as_str()).collect::<Vec<_>>(), ["taught"]);
}

#[test]
fn a_given_folder_that_does_not_exist_is_an_error_even_if_there_is_a_default_one() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("nose.toml");
    std::fs::write(&path, SETUP.replace("[[region]]", "glyphs = \"nowhere\"\n[[region]]")).unwrap();
    let beside = folder.path().join("nose-glyphs");
    builtin_sets().unwrap()[0].save(&beside, Existing::ReplaceOwn).unwrap();
    let message = glyph_sets(&LoadedSetup::load(&path).unwrap()).unwrap_err().to_string();
    assert!(message.contains("nowhere that the setup names does not exist"), "{message}");
}
