//! Yes, no, or not known: how the protocol thinks. An unknown stays unknown until something known settles it.

/// The outcome of a condition.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Truth {
    False,
    Unknown,
    True,
}

impl Truth {
    pub fn of(known: Option<bool>) -> Truth {
        match known {
            Some(true) => Truth::True,
            Some(false) => Truth::False,
            None => Truth::Unknown,
        }
    }

    pub fn known(self) -> Option<bool> {
        match self {
            Truth::True => Some(true),
            Truth::False => Some(false),
            Truth::Unknown => None,
        }
    }

    /// False if either is false; true if both are true.
    pub fn and(self, other: Truth) -> Truth {
        match (self, other) {
            (Truth::False, _) | (_, Truth::False) => Truth::False,
            (Truth::True, Truth::True) => Truth::True,
            (Truth::Unknown, _) | (_, Truth::Unknown) => Truth::Unknown,
        }
    }

    /// True if either is true; false if both are false.
    pub fn or(self, other: Truth) -> Truth {
        self.negated().and(other.negated()).negated()
    }

    pub fn negated(self) -> Truth {
        match self {
            Truth::True => Truth::False,
            Truth::False => Truth::True,
            Truth::Unknown => Truth::Unknown,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Truth::False;
    use super::Truth::True;
    use super::Truth::Unknown;

    #[test]
    fn an_unknown_is_settled_only_by_what_decides_without_it() {
        assert_eq!(True.or(Unknown), True);
        assert_eq!(Unknown.or(False), Unknown);
        assert_eq!(False.and(Unknown), False);
        assert_eq!(Unknown.and(True), Unknown);
        assert_eq!(Unknown.negated(), Unknown);
        assert_eq!(True.and(True), True);
        assert_eq!(False.or(False), False);
    }
}
