//! All checks of a setup, in one place.

use super::error::{RegionName, SettingError, SetupProblem};
use super::plausible_limits::symbols_of;
use super::{Aircraft, Camera, MAX_DIGITS, MAX_FRAME_PX, MIN_BOX_PX, Region, Setup};
use crate::model::channel::Channel;

/// Maximum number of regions: several times as many as the fullest overlay has numbers. It limits the memory
/// for the sample, which grows with the number of regions. Set by judgement.
const MAX_REGIONS: usize = 64;

impl Setup {
    /// Checks everything that can be checked without a clip.
    ///
    /// # Errors
    ///
    /// The first [`SettingError`] in the order of the file. It says which setting is wrong, why, and how to
    /// fix it.
    pub fn validate(&self) -> Result<(), SettingError> {
        check_frame_size(&self.camera).map_err(|problem| SettingError::new(None, Some("frame"), problem))?;
        self.aircraft.as_ref().map_or(Ok(()), Aircraft::validate)?;
        if self.regions.is_empty() {
            return Err(SettingError::new(None, None, SetupProblem::NoRegion));
        }
        if self.regions.len() > MAX_REGIONS {
            let problem = SetupProblem::TooManyRegions { count: self.regions.len(), max: MAX_REGIONS };
            return Err(SettingError::new(None, None, problem));
        }
        for (index, region) in self.regions.iter().enumerate() {
            let earlier = self.regions.get(..index).unwrap_or_default();
            check_region(region, earlier, &self.camera).map_err(|KeyProblem { key, problem }| {
                SettingError::new(Some(name_of(index, region)), Some(key), problem)
            })?;
        }
        Ok(())
    }
}

fn name_of(index: usize, region: &Region) -> RegionName {
    let channel = Some(region.channel.name().to_owned()).filter(|name| !name.is_empty());
    RegionName { number: index + 1, channel }
}

fn check_frame_size(camera: &Camera) -> Result<(), SetupProblem> {
    let (width, height) = camera.frame;
    let allowed = 1..=MAX_FRAME_PX;
    if allowed.contains(&width) && allowed.contains(&height) {
        Ok(())
    } else {
        Err(SetupProblem::FrameSize { width, height })
    }
}

/// A problem of a region and the key that causes it.
struct KeyProblem {
    key: &'static str,
    problem: SetupProblem,
}

impl KeyProblem {
    fn of(key: &'static str) -> impl Fn(SetupProblem) -> Self {
        move |problem| Self { key, problem }
    }
}

fn check_region(region: &Region, earlier: &[Region], camera: &Camera) -> Result<(), KeyProblem> {
    check_name(&region.channel).map_err(KeyProblem::of("channel"))?;
    check_unit(region).map_err(KeyProblem::of("unit"))?;
    check_channel_is_unique(region, earlier).map_err(KeyProblem::of("channel"))?;
    check_box(region, camera).map_err(KeyProblem::of("box"))?;
    check_digits(region)?;
    check_limits(region)
}

fn check_name(channel: &Channel) -> Result<(), SetupProblem> {
    let name = channel.name();
    let is_allowed =
        |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit() || "_-".contains(letter);
    if !name.is_empty() && name.chars().all(is_allowed) {
        Ok(())
    } else {
        Err(SetupProblem::ChannelName { name: name.to_owned() })
    }
}

fn check_unit(region: &Region) -> Result<(), SetupProblem> {
    match (region.unit, region.channel.quantity()) {
        (Some(unit), Some(quantity)) if unit.quantity() != quantity => Err(SetupProblem::WrongQuantity {
            channel: region.channel.clone(),
            unit,
            allowed: symbols_of(quantity),
        }),
        _ => Ok(()),
    }
}

fn check_channel_is_unique(region: &Region, earlier: &[Region]) -> Result<(), SetupProblem> {
    let channel = region.channel.clone();
    if let Some(first) = earlier.iter().position(|other| other.channel == channel) {
        return Err(SetupProblem::DuplicateChannel { channel, first: first + 1 });
    }
    let taken: Vec<String> = ["frame".to_owned(), "time_s".to_owned()]
        .into_iter()
        .chain(earlier.iter().flat_map(columns))
        .collect();
    match columns(region).into_iter().find(|column| taken.contains(column)) {
        Some(column) => Err(SetupProblem::ColumnTaken { channel, column }),
        None => Ok(()),
    }
}

/// The names of the columns of series.csv that a region fills.
fn columns(region: &Region) -> Vec<String> {
    let channel = &region.channel;
    let mut columns = vec![channel.column(region.unit_shown()), format!("{}_confidence", channel.name())];
    if *channel == Channel::Speed {
        columns.push(Channel::Other("speed_smooth".to_owned()).column(region.unit_shown()));
    }
    columns
}

fn check_box(region: &Region, camera: &Camera) -> Result<(), SetupProblem> {
    let rect = region.rect;
    let (width, height) = camera.frame;
    if rect.width < MIN_BOX_PX.0 || rect.height < MIN_BOX_PX.1 {
        return Err(SetupProblem::BoxTooSmall { rect });
    }
    // Computed with 64 bits, since a box in a file may contain any numbers.
    let right = u64::from(rect.left) + u64::from(rect.width);
    let bottom = u64::from(rect.top) + u64::from(rect.height);
    if right > u64::from(width) || bottom > u64::from(height) {
        return Err(SetupProblem::BoxOutside { rect, right, bottom, width, height });
    }
    Ok(())
}

fn check_digits(region: &Region) -> Result<(), KeyProblem> {
    let digits = region.digits.unwrap_or(MAX_DIGITS);
    if !(1..=MAX_DIGITS).contains(&digits) {
        return Err(KeyProblem { key: "digits", problem: SetupProblem::Digits { digits } });
    }
    if region.decimals >= digits {
        let problem = SetupProblem::Decimals { decimals: region.decimals, max: digits - 1 };
        return Err(KeyProblem { key: "decimals", problem });
    }
    Ok(())
}

fn check_limits(region: &Region) -> Result<(), KeyProblem> {
    if let Some((low, high)) = region.range
        && !(low.is_finite() && high.is_finite() && low < high)
    {
        return Err(KeyProblem { key: "range", problem: SetupProblem::Range { low, high } });
    }
    match region.max_rate {
        Some(max_rate) if !(max_rate.is_finite() && max_rate > 0.0) => {
            Err(KeyProblem { key: "max_rate", problem: SetupProblem::MaxRate { max_rate } })
        }
        _ => Ok(()),
    }
}
