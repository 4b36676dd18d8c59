//! (photo: being written)
