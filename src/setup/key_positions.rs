//! Finds the position of each key in a setup file, and checks that the file has the right keys.
//!
//! The keys are checked in the parsed TOML before it is deserialised. Errors can then name the line, the
//! region and the key, which the deserialiser alone does not know.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::error::{RegionName, SettingError, SetupProblem};
use super::plausible_limits::symbols_of;
use super::schema::{self, KeySpec};
use crate::model::channel::Channel;
use crate::model::units::{Unit, UnknownUnit};

/// One key of the file, with its position.
struct Entry {
    region: Option<RegionName>,
    /// All keys that may occur in the table that contains this key.
    specs: &'static [KeySpec],
    key: String,
    /// Bytes of the file, from the first byte of the key to the last byte of its value.
    bytes: Range<usize>,
    /// The value of the key, if it is a string.
    text: Option<String>,
}

/// One table of the file.
struct Table {
    region: Option<RegionName>,
    /// Position of the table's first byte in the file, in bytes from the start of the file.
    start: usize,
}

/// Positions of all keys and tables of a file.
pub(super) struct KeyPositions {
    entries: Vec<Entry>,
    tables: Vec<Table>,
}

/// A setting error with its position in the text.
pub(super) struct LocatedError {
    pub(super) error: SettingError,
    /// Position in the text, in bytes, at which the error is; `None` if the error has no position.
    pub(super) byte: Option<usize>,
}

impl LocatedError {
    fn new(
        region: Option<&RegionName>,
        key: Option<&str>,
        problem: SetupProblem,
        byte: Option<usize>,
    ) -> Self {
        Self { error: SettingError::new(region.cloned(), key, problem), byte }
    }
}

impl KeyPositions {
    /// Checks the keys of a setup file: each must be known, and no required key may be missing.
    pub(super) fn of_setup(root: &DeTable<'_>) -> Result<Self, LocatedError> {
        Self::with_tables(root, &schema::SETUP_TABLES)
    }

    /// Checks the keys of an aircraft file, which has only the table `[aircraft]`.
    pub(super) fn of_aircraft(root: &DeTable<'_>) -> Result<Self, LocatedError> {
        Self::with_tables(root, &schema::AIRCRAFT_TABLES)
    }

    fn with_tables(root: &DeTable<'_>, tables: &[KeySpec]) -> Result<Self, LocatedError> {
        let mut positions = Self { entries: Vec::new(), tables: Vec::new() };
        check_keys(root, tables, None, None)?;
        for (name, value) in root {
            let start = name.span().start;
            match (name.get_ref().as_ref(), value.get_ref()) {
                ("camera", DeValue::Table(camera)) => {
                    positions.add(camera, &schema::CAMERA, None, start)?;
                }
                ("aircraft", DeValue::Table(aircraft)) => {
                    positions.add(aircraft, &schema::AIRCRAFT, None, start)?;
                }
                ("region", DeValue::Array(regions)) => {
                    for (index, region) in regions.iter().enumerate() {
                        positions.add_region(index, region.get_ref(), region.span().start)?;
                    }
                }
                (name, value) => return Err(not_a_table(name, value, start)),
            }
        }
        Ok(positions)
    }

    fn add_region(&mut self, index: usize, value: &DeValue<'_>, start: usize) -> Result<(), LocatedError> {
        let DeValue::Table(table) = value else {
            return Err(not_a_table("region", value, start));
        };
        let channel = table.iter().find(|(key, _)| key.get_ref() == "channel");
        let channel = channel.and_then(|(_, value)| value.get_ref().as_str().map(str::to_owned));
        self.add(table, &schema::REGION, Some(RegionName { number: index + 1, channel }), start)
    }

    fn add(
        &mut self,
        table: &DeTable<'_>,
        specs: &'static [KeySpec],
        region: Option<RegionName>,
        start: usize,
    ) -> Result<(), LocatedError> {
        check_keys(table, specs, region.as_ref(), Some(start))?;
        check_list_lengths(table, specs, region.as_ref())?;
        self.entries.extend(table.iter().map(|(key, value)| Entry {
            region: region.clone(),
            specs,
            key: key.get_ref().to_string(),
            bytes: key.span().start..value.span().end,
            text: value.get_ref().as_str().map(str::to_owned),
        }));
        self.tables.push(Table { region, start });
        Ok(())
    }

    /// Converts an error of the deserialiser to one that names the key and the required type of its value.
    pub(super) fn wrong_value(&self, error: &toml::de::Error) -> LocatedError {
        let byte = error.span().map(|span| span.start);
        let entry = self.entries.iter().find(|entry| byte.is_some_and(|byte| entry.bytes.contains(&byte)));
        let spec = entry.and_then(|entry| entry.specs.iter().find(|spec| spec.name == entry.key));
        let (Some(entry), Some(spec)) = (entry, spec) else {
            let problem = wrong_type(&schema::SETUP_TABLES[0], error.message());
            return LocatedError::new(None, None, problem, byte);
        };
        let unit_text = entry.text.as_deref().filter(|_| spec.name == "unit");
        let problem = match unit_text.map(Unit::parse) {
            Some(Err(UnknownUnit { spelling })) => {
                let channel = entry.region.as_ref().and_then(|region| region.channel.clone());
                let quantity = channel.and_then(|name| Channel::from(name).quantity());
                let allowed = quantity.map_or_else(Unit::spellings, symbols_of);
                SetupProblem::UnknownUnit { spelling, allowed }
            }
            _ => wrong_type(spec, error.message()),
        };
        LocatedError::new(entry.region.as_ref(), Some(spec.name), problem, Some(entry.bytes.start))
    }

    /// Adds the position to an error: that of the key, or that of the table if the key is missing.
    pub(super) fn locate(&self, error: SettingError) -> LocatedError {
        let number = |region: &Option<RegionName>| region.as_ref().map(|region| region.number);
        let region = number(&error.region);
        let byte = error.key.as_ref().and_then(|key| {
            let entry =
                self.entries.iter().find(|entry| number(&entry.region) == region && entry.key == *key);
            let table = || self.tables.iter().find(|table| number(&table.region) == region);
            entry.map(|entry| entry.bytes.start).or_else(|| table().map(|table| table.start))
        });
        LocatedError { error, byte }
    }
}

/// Checks that a table has only known keys, and all required ones.
fn check_keys(
    table: &DeTable<'_>,
    specs: &[KeySpec],
    region: Option<&RegionName>,
    start: Option<usize>,
) -> Result<(), LocatedError> {
    let is_unknown = |key: &str| !specs.iter().any(|spec| spec.name == key);
    let first_unknown =
        table.keys().filter(|key| is_unknown(key.get_ref())).min_by_key(|key| key.span().start);
    if let Some(key) = first_unknown {
        let problem = SetupProblem::UnknownKey {
            key: key.get_ref().to_string(),
            nearest: schema::nearest(specs, key.get_ref()).map(str::to_owned),
            known: schema::names(specs),
        };
        return Err(LocatedError::new(region, None, problem, Some(key.span().start)));
    }
    // A setup without regions has a separate message.
    let is_missing = |spec: &&KeySpec| {
        spec.required && spec.name != "region" && !table.keys().any(|key| key.get_ref() == spec.name)
    };
    match specs.iter().find(is_missing) {
        Some(spec) => {
            let problem = SetupProblem::MissingKey { key: spec.name, example: spec.example };
            Err(LocatedError::new(region, Some(spec.name), problem, start))
        }
        None => Ok(()),
    }
}

/// Checks the lengths of lists. The deserialiser silently ignores surplus entries.
fn check_list_lengths(
    table: &DeTable<'_>,
    specs: &[KeySpec],
    region: Option<&RegionName>,
) -> Result<(), LocatedError> {
    for spec in specs {
        let value = table.iter().find(|(name, _)| name.get_ref() == spec.name);
        if let (Some(length), Some((name, value))) = (spec.list_length, value)
            && let DeValue::Array(list) = value.get_ref()
            && list.len() != length
        {
            let problem = wrong_type(spec, &format!("its list has {} entries", list.len()));
            return Err(LocatedError::new(region, Some(spec.name), problem, Some(name.span().start)));
        }
    }
    Ok(())
}

/// The problem of a value of the wrong type or length. What the parser expected is left out, since the example in
/// `spec` says it more clearly.
fn wrong_type(spec: &KeySpec, found: &str) -> SetupProblem {
    let found = found.split(", expected").next().unwrap_or_default().replace('\n', " ");
    SetupProblem::WrongType { key: spec.name, example: spec.example, found }
}

/// The error for a value where a table is required.
fn not_a_table(name: &str, value: &DeValue<'_>, byte: usize) -> LocatedError {
    let spec = schema::SETUP_TABLES.iter().find(|spec| spec.name == name).unwrap_or(&schema::SETUP_TABLES[0]);
    let problem = wrong_type(spec, &format!("it is a {}", value.type_str()));
    LocatedError::new(None, None, problem, Some(byte))
}
