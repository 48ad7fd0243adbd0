//! Tests of the whole program, one file per subject.
