//! The program `corymb`.
fn main() {}
