pub struct Area(pub f64);

pub fn of(side: f64) -> Area {
    Area(side * side)
}
