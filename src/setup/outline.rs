//! The outline of a setup file: which keys stand on which lines, before their values are taken.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::error::{Fault, Problem, RegionName};
use super::keys::{self, Key};
use super::plausible::units_of;
use crate::model::channel::Channel;
use crate::model::units::{Unit, UnknownUnit};

/// One key of the file.
struct Entry {
    region: Option<RegionName>,
    known: &'static [Key],
    key: String,
    span: Range<usize>,
    text: Option<String>,
}

/// Where each key stands.
pub(super) struct Outline {
    entries: Vec<Entry>,
    tables: Vec<(Option<RegionName>, usize)>,
}

/// A fault and the place of it in the text, in bytes from the start.
pub(super) type Placed = (Fault, Option<usize>);

impl Outline {
    /// Walks through the tables of a setup and checks that each key is known and none is missing.
    pub(super) fn of(root: &DeTable<'_>) -> Result<Self, Placed> {
        Self::with_tables(root, &keys::TOP)
    }

    /// The same for a file that holds the notes of an aircraft and nothing else.
    pub(super) fn of_notes(root: &DeTable<'_>) -> Result<Self, Placed> {
        Self::with_tables(root, &keys::NOTES)
    }

    fn with_tables(root: &DeTable<'_>, tables: &[Key]) -> Result<Self, Placed> {
        let mut outline = Self { entries: Vec::new(), tables: Vec::new() };
        outline.check_keys(root, tables, None, None)?;
        for (name, value) in root {
            let at = name.span().start;
            match (name.get_ref().as_ref(), value.get_ref()) {
                ("camera", DeValue::Table(camera)) => {
                    outline.add(camera, &keys::CAMERA, None, at)?;
                }
                ("aircraft", DeValue::Table(aircraft)) => {
                    outline.add(aircraft, &keys::AIRCRAFT, None, at)?;
                }
                ("region", DeValue::Array(regions)) => {
                    for (index, region) in regions.iter().enumerate() {
                        outline.add_region(index, region.get_ref(), region.span().start)?;
                    }
                }
                (name, value) => return Err(wrong_table(name, value, at)),
            }
        }
        Ok(outline)
    }

    fn add_region(&mut self, index: usize, value: &DeValue<'_>, start: usize) -> Result<(), Placed> {
        let DeValue::Table(table) = value else {
            return Err(wrong_table("region", value, start));
        };
        let channel = table.iter().find(|(key, _)| key.get_ref() == "channel");
        let channel = channel.and_then(|(_, value)| value.get_ref().as_str().map(str::to_owned));
        self.add(table, &keys::REGION, Some(RegionName { number: index + 1, channel }), start)
    }

    fn add(
        &mut self,
        table: &DeTable<'_>,
        known: &'static [Key],
        region: Option<RegionName>,
        start: usize,
    ) -> Result<(), Placed> {
        self.check_keys(table, known, region.as_ref(), Some(start))?;
        check_lists(table, known, region.as_ref())?;
        self.entries.extend(table.iter().map(|(key, value)| Entry {
            region: region.clone(),
            known,
            key: key.get_ref().to_string(),
            span: key.span().start..value.span().end,
            text: value.get_ref().as_str().map(str::to_owned),
        }));
        self.tables.push((region, start));
        Ok(())
    }

    fn check_keys(
        &self,
        table: &DeTable<'_>,
        known: &[Key],
        region: Option<&RegionName>,
        start: Option<usize>,
    ) -> Result<(), Placed> {
        let unknown = |key: &str| !known.iter().any(|known| known.name == key);
        let first_unknown =
            table.keys().filter(|key| unknown(key.get_ref())).min_by_key(|key| key.span().start);
        if let Some(key) = first_unknown {
            let problem = Problem::UnknownKey {
                key: key.get_ref().to_string(),
                nearest: keys::nearest(known, key.get_ref()).map(str::to_owned),
                known: keys::names(known),
            };
            return Err((fault(region, None, problem), Some(key.span().start)));
        }
        let missing = known.iter().find(|known| {
            known.required && known.name != "region" && !table.keys().any(|key| key.get_ref() == known.name)
        });
        match missing {
            Some(key) => {
                let problem = Problem::MissingKey { key: key.name, form: key.form };
                Err((fault(region, Some(key.name), problem), start))
            }
            None => Ok(()),
        }
    }

    /// Names the key whose value could not be taken, in our words.
    pub(super) fn wrong_value(&self, error: &toml::de::Error) -> Placed {
        let at = error.span().map(|span| span.start);
        let entry = self.entries.iter().find(|entry| at.is_some_and(|at| entry.span.contains(&at)));
        let known = entry.and_then(|entry| entry.known.iter().find(|key| key.name == entry.key));
        let (Some(entry), Some(key)) = (entry, known) else {
            return (fault(None, None, wrong_form(&keys::TOP[0], error.message())), at);
        };
        let unknown_unit = entry.text.as_deref().filter(|_| key.name == "unit");
        let problem = match unknown_unit.map(Unit::parse) {
            Some(Err(UnknownUnit { spelling })) => {
                let channel = entry.region.as_ref().and_then(|region| region.channel.clone());
                let quantity = channel.and_then(|name| Channel::from(name).quantity());
                Problem::UnknownUnit { spelling, allowed: quantity.map_or_else(Unit::spellings, units_of) }
            }
            _ => wrong_form(key, error.message()),
        };
        (fault(entry.region.as_ref(), Some(key.name), problem), Some(entry.span.start))
    }

    /// Where the key stands that a fault is about, else the table.
    pub(super) fn place_of(&self, fault: &Fault) -> Option<usize> {
        let same_region = |region: &Option<RegionName>| {
            region.as_ref().map(|region| region.number) == fault.region.as_ref().map(|region| region.number)
        };
        let key = fault.key.as_ref()?;
        let entry = self.entries.iter().find(|entry| same_region(&entry.region) && entry.key == *key);
        let table = || self.tables.iter().find(|(region, _)| same_region(region)).map(|(_, start)| *start);
        entry.map(|entry| entry.span.start).or_else(table)
    }
}

fn fault(region: Option<&RegionName>, key: Option<&str>, problem: Problem) -> Fault {
    Fault::new(region.cloned(), key, problem)
}

/// Lists of the right length: the deserialiser takes a list that is too long without a word.
fn check_lists(table: &DeTable<'_>, known: &[Key], region: Option<&RegionName>) -> Result<(), Placed> {
    for key in known {
        let value = table.iter().find(|(name, _)| name.get_ref() == key.name);
        if let (Some(wanted), Some((name, value))) = (key.entries, value)
            && let DeValue::Array(list) = value.get_ref()
            && list.len() != wanted
        {
            let problem = wrong_form(key, &format!("its list has {} entries", list.len()));
            return Err((fault(region, Some(key.name), problem), Some(name.span().start)));
        }
    }
    Ok(())
}

/// `found` is told without what the parser expected instead: the form says that better.
fn wrong_form(key: &Key, found: &str) -> Problem {
    let found = found.split(", expected").next().unwrap_or_default().replace('\n', " ");
    Problem::WrongForm { key: key.name, form: key.form, found }
}

fn wrong_table(name: &str, value: &DeValue<'_>, at: usize) -> Placed {
    let key = keys::TOP.iter().find(|key| key.name == name).unwrap_or(&keys::TOP[0]);
    (fault(None, None, wrong_form(key, &format!("it is a {}", value.type_str()))), Some(at))
}
