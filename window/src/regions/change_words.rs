//! Descriptions of changes of the regions.

use pairspeed::setup::Region;

/// Describes the change from the regions `old` to the regions `new`, such as `moved the speed box`. If the two lists
/// are equal, the description says that the name of the camera was changed, the only other thing that can change.
pub(super) fn in_words(old: &[Region], new: &[Region]) -> String {
    match old.len().cmp(&new.len()) {
        std::cmp::Ordering::Less => counted("added", &only_in(new, old)),
        std::cmp::Ordering::Greater => counted("removed", &only_in(old, new)),
        std::cmp::Ordering::Equal => {
            let changed: Vec<(&Region, &Region)> =
                old.iter().zip(new).filter(|(old, new)| old != new).collect();
            match changed[..] {
                [] => "changed the name of the camera".to_owned(),
                [(old, new)] => region_change(old, new),
                _ => format!("changed {} boxes", changed.len()),
            }
        }
    }
}

/// The regions of the list `regions` that the list `others` lacks.
fn only_in<'a>(regions: &'a [Region], others: &[Region]) -> Vec<&'a Region> {
    regions.iter().filter(|region| !others.contains(region)).collect()
}

fn counted(verb: &str, regions: &[&Region]) -> String {
    match regions {
        [region] => format!("{verb} the {} box", region.channel.name()),
        _ => format!("{verb} {} boxes", regions.len()),
    }
}

fn region_change(old: &Region, new: &Region) -> String {
    let name = old.channel.name();
    let size = |region: &Region| (region.rect.width, region.rect.height);
    let field = if old.channel != new.channel {
        return format!("renamed the {name} box to {}", new.channel.name());
    } else if size(old) != size(new) {
        return format!("resized the {name} box");
    } else if old.rect != new.rect {
        return format!("moved the {name} box");
    } else if old.unit != new.unit {
        "unit"
    } else if old.digits != new.digits {
        "number of digits"
    } else if old.decimals != new.decimals {
        "digits after the point"
    } else if old.range != new.range {
        "range"
    } else {
        "fastest change"
    };
    format!("changed the {field} of the {name} box")
}

#[cfg(test)]
mod tests {
    use super::*;
    use pairspeed::geometry::PixelRect;
    use pairspeed::model::channel::Channel;

    fn region(channel: Channel, left: u32) -> Region {
        Region::new(channel, PixelRect { left, top: 10, width: 60, height: 20 }, None)
    }

    #[test]
    fn every_kind_of_change_has_its_words() {
        let (speed, voltage) = (region(Channel::Speed, 10), region(Channel::Voltage, 100));
        let moved = region(Channel::Speed, 12);
        let mut wider = speed.clone();
        wider.rect.width += 2;
        let digits = Region { digits: Some(4), ..speed.clone() };
        let renamed = region(Channel::Altitude, 10);
        let one = [speed.clone()];
        for (after, words) in [
            (vec![speed.clone(), voltage.clone()], "added the voltage box"),
            (vec![], "removed the speed box"),
            (vec![moved], "moved the speed box"),
            (vec![wider], "resized the speed box"),
            (vec![renamed], "renamed the speed box to altitude"),
            (vec![digits], "changed the number of digits of the speed box"),
        ] {
            assert_eq!(in_words(&one, &after), words);
        }
        assert_eq!(in_words(&[], &[speed, voltage]), "added 2 boxes");
        assert_eq!(in_words(&one, &one), "changed the name of the camera");
    }
}
