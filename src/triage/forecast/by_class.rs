//! One value for each of the five classes, the most urgent first.

use crate::triage::Urgency;

/// One value for each class.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ByClass<T>([T; 5]);

impl<T> ByClass<T> {
    /// What `value` says of each class, asked in reading order.
    pub fn of_each(mut value: impl FnMut(Urgency) -> T) -> ByClass<T> {
        ByClass([
            value(Urgency::GoNow),
            value(Urgency::RingNow),
            value(Urgency::Today),
            value(Urgency::Tomorrow),
            value(Urgency::OnTrack),
        ])
    }

    pub fn of(&self, urgency: Urgency) -> &T {
        &self.0[place(urgency)]
    }

    pub fn of_mut(&mut self, urgency: Urgency) -> &mut T {
        &mut self.0[place(urgency)]
    }

    /// In reading order, the most urgent first.
    pub fn iter(&self) -> impl Iterator<Item = (Urgency, &T)> {
        Urgency::ALL.iter().rev().map(|urgency| (*urgency, self.of(*urgency)))
    }

    pub fn map<U>(&self, mut turn: impl FnMut(&T) -> U) -> ByClass<U> {
        ByClass::of_each(|urgency| turn(self.of(urgency)))
    }
}

impl ByClass<f64> {
    pub fn sum(&self) -> f64 {
        self.0.iter().sum()
    }
}

fn place(urgency: Urgency) -> usize {
    match urgency {
        Urgency::GoNow => 0,
        Urgency::RingNow => 1,
        Urgency::Today => 2,
        Urgency::Tomorrow => 3,
        Urgency::OnTrack => 4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_stand_in_reading_order_and_each_class_finds_its_own() {
        let ranks = ByClass::of_each(Urgency::rank);
        assert_eq!(ranks.iter().map(|(_, rank)| *rank).collect::<Vec<_>>(), [0, 1, 2, 3, 4]);
        for urgency in Urgency::ALL {
            assert_eq!(*ranks.of(*urgency), urgency.rank());
        }
    }
}
