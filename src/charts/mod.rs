//! [`Study`](crate::study::Study) -> SVG: one file per chart, one palette, one scale.
