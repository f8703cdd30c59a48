//! An invented crate for the test of the import graph; it is never compiled.

pub mod shapes;
mod text;
