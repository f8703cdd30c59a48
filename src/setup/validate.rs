//! All checks of a setup, in one place.

use super::error::{Fault, Problem, RegionName};
use super::plausible::units_of;
use super::{Aircraft, Camera, DIGITS_MAX, FRAME_MAX_PX, Region, SMALLEST_BOX_PX, Setup};
use crate::model::channel::Channel;

impl Setup {
    /// Checks everything that can be checked without a clip.
    ///
    /// # Errors
    /// The first [`Fault`] in the order of the file: where it is, what is wrong, how to mend it.
    pub fn validate(&self) -> Result<(), Fault> {
        check_frame_size(&self.camera).map_err(|problem| Fault::new(None, Some("frame"), problem))?;
        self.aircraft.as_ref().map_or(Ok(()), Aircraft::validate)?;
        if self.regions.is_empty() {
            return Err(Fault::new(None, None, Problem::NoRegion));
        }
        for (index, region) in self.regions.iter().enumerate() {
            let earlier = self.regions.get(..index).unwrap_or_default();
            check_region(region, earlier, &self.camera)
                .map_err(|(key, problem)| Fault::new(Some(name_of(index, region)), Some(key), problem))?;
        }
        Ok(())
    }
}

fn name_of(index: usize, region: &Region) -> RegionName {
    let channel = Some(region.channel.name().to_owned()).filter(|name| !name.is_empty());
    RegionName { number: index + 1, channel }
}

fn check_frame_size(camera: &Camera) -> Result<(), Problem> {
    let (width, height) = camera.frame;
    let possible = 1..=FRAME_MAX_PX;
    if possible.contains(&width) && possible.contains(&height) {
        Ok(())
    } else {
        Err(Problem::FrameSize { width, height })
    }
}

/// The key at fault and the problem.
type Misfit = (&'static str, Problem);

fn check_region(region: &Region, earlier: &[Region], camera: &Camera) -> Result<(), Misfit> {
    check_name(&region.channel).map_err(|problem| ("channel", problem))?;
    check_unit(region).map_err(|problem| ("unit", problem))?;
    check_columns(region, earlier).map_err(|problem| ("channel", problem))?;
    check_box(region, camera).map_err(|problem| ("box", problem))?;
    check_digits(region)?;
    check_limits(region)
}

fn check_name(channel: &Channel) -> Result<(), Problem> {
    let name = channel.name();
    let fits = |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit() || "_-".contains(letter);
    if !name.is_empty() && name.chars().all(fits) {
        Ok(())
    } else {
        Err(Problem::ChannelName { name: name.to_owned() })
    }
}

fn check_unit(region: &Region) -> Result<(), Problem> {
    match (region.unit, region.channel.quantity()) {
        (Some(unit), Some(quantity)) if unit.quantity() != quantity => {
            Err(Problem::WrongQuantity { channel: region.channel.clone(), unit, allowed: units_of(quantity) })
        }
        _ => Ok(()),
    }
}

fn check_columns(region: &Region, earlier: &[Region]) -> Result<(), Problem> {
    let channel = region.channel.clone();
    if let Some(first) = earlier.iter().position(|other| other.channel == channel) {
        return Err(Problem::DuplicateChannel { channel, first: first + 1 });
    }
    let taken: Vec<String> = ["frame".to_owned(), "time_s".to_owned()]
        .into_iter()
        .chain(earlier.iter().flat_map(columns))
        .collect();
    match columns(region).into_iter().find(|column| taken.contains(column)) {
        Some(column) => Err(Problem::ColumnTaken { channel, column }),
        None => Ok(()),
    }
}

/// The columns that a region fills in the table of the series.
fn columns(region: &Region) -> Vec<String> {
    let channel = &region.channel;
    let mut columns = vec![channel.column(region.unit_shown()), format!("{}_confidence", channel.name())];
    if *channel == Channel::Speed {
        columns.push(Channel::Other("speed_smooth".to_owned()).column(region.unit_shown()));
    }
    columns
}

fn check_box(region: &Region, camera: &Camera) -> Result<(), Problem> {
    let place = region.place;
    let (width, height) = camera.frame;
    if place.width < SMALLEST_BOX_PX.0 || place.height < SMALLEST_BOX_PX.1 {
        return Err(Problem::BoxTooSmall { place });
    }
    let right = u64::from(place.left) + u64::from(place.width);
    let bottom = u64::from(place.top) + u64::from(place.height);
    if right > u64::from(width) || bottom > u64::from(height) {
        return Err(Problem::BoxOutside { place, right, bottom, width, height });
    }
    Ok(())
}

fn check_digits(region: &Region) -> Result<(), Misfit> {
    let digits = region.digits.unwrap_or(DIGITS_MAX);
    if !(1..=DIGITS_MAX).contains(&digits) {
        return Err(("digits", Problem::Digits { digits }));
    }
    if region.decimals >= digits {
        return Err(("decimals", Problem::Decimals { decimals: region.decimals, most: digits - 1 }));
    }
    Ok(())
}

fn check_limits(region: &Region) -> Result<(), Misfit> {
    if let Some((low, high)) = region.range
        && !(low.is_finite() && high.is_finite() && low < high)
    {
        return Err(("range", Problem::Range { low, high }));
    }
    match region.max_rate {
        Some(max_rate) if !(max_rate.is_finite() && max_rate > 0.0) => {
            Err(("max_rate", Problem::MaxRate { max_rate }))
        }
        _ => Ok(()),
    }
}
