//! A made-up crate for the test of the import graph: never compiled.

pub mod shapes;
mod text;
