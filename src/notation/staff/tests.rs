//! What every staff page must do.
