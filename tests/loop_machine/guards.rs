//! Every guard, left out once: a day that shows it, and the law it breaks.
