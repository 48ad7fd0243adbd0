//! Sound to practise and test with: the synthesised kit.

pub mod drums;

pub mod stretch;
