use std::fmt::Debug;

use crate::shapes::{self, Shape};

pub fn label<'a>(text: &'a str, sign: char) -> String {
    let area = shapes::area_of(1.0);
    format!("{text}{sign}{}", area.0)
}
