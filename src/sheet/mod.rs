//! (sheet: being written)
