//! Reading one row's columns as the practice's own types.

use std::str::FromStr;

use data_encoding::HEXLOWER;
use jiff::Timestamp;
use serde::de::DeserializeOwned;
use sqlx::Column;
use sqlx::Row;
use sqlx::any::AnyRow;

use crate::store::StoreError;
use crate::store::Stored;
use crate::triage::Urgency;

/// Columns by name; each method says what the column holds.
pub trait Columns {
    fn text(&self, column: &'static str) -> Stored<String>;
    fn text_maybe(&self, column: &'static str) -> Stored<Option<String>>;
    fn whole(&self, column: &'static str) -> Stored<i64>;
    fn whole_maybe(&self, column: &'static str) -> Stored<Option<i64>>;
    fn bytes(&self, column: &'static str) -> Stored<Vec<u8>>;
    fn bytes_maybe(&self, column: &'static str) -> Stored<Option<Vec<u8>>>;

    /// Anything written as text: ids and codes.
    fn parsed<T: FromStr<Err: std::fmt::Display>>(&self, column: &'static str) -> Stored<T> {
        parse(column, &self.text(column)?)
    }

    fn parsed_maybe<T: FromStr<Err: std::fmt::Display>>(&self, column: &'static str) -> Stored<Option<T>> {
        self.text_maybe(column)?.map(|text| parse(column, &text)).transpose()
    }

    fn json<T: DeserializeOwned>(&self, column: &'static str) -> Stored<T> {
        serde_json::from_str(&self.text(column)?)
            .map_err(|fault| StoreError::Unreadable { column, because: fault.to_string() })
    }

    fn time(&self, column: &'static str) -> Stored<Timestamp> {
        as_time(column, self.whole(column)?)
    }

    fn time_maybe(&self, column: &'static str) -> Stored<Option<Timestamp>> {
        self.whole_maybe(column)?.map(|ms| as_time(column, ms)).transpose()
    }

    /// A class by its place in the reading order.
    fn urgency(&self, column: &'static str) -> Stored<Urgency> {
        as_urgency(column, self.whole(column)?)
    }

    fn urgency_maybe(&self, column: &'static str) -> Stored<Option<Urgency>> {
        self.whole_maybe(column)?.map(|rank| as_urgency(column, rank)).transpose()
    }

    fn flag(&self, column: &'static str) -> Stored<bool> {
        Ok(self.whole(column)? != 0)
    }
}

impl Columns for AnyRow {
    fn text(&self, column: &'static str) -> Stored<String> {
        Ok(self.try_get(column)?)
    }

    fn text_maybe(&self, column: &'static str) -> Stored<Option<String>> {
        Ok(self.try_get(column)?)
    }

    fn whole(&self, column: &'static str) -> Stored<i64> {
        Ok(self.try_get(column)?)
    }

    fn whole_maybe(&self, column: &'static str) -> Stored<Option<i64>> {
        Ok(self.try_get(column)?)
    }

    fn bytes(&self, column: &'static str) -> Stored<Vec<u8>> {
        Ok(self.try_get(column)?)
    }

    fn bytes_maybe(&self, column: &'static str) -> Stored<Option<Vec<u8>>> {
        Ok(self.try_get(column)?)
    }
}

fn parse<T: FromStr<Err: std::fmt::Display>>(column: &'static str, text: &str) -> Stored<T> {
    text.parse().map_err(|fault: T::Err| StoreError::Unreadable { column, because: fault.to_string() })
}

fn as_time(column: &'static str, ms: i64) -> Stored<Timestamp> {
    Timestamp::from_millisecond(ms)
        .map_err(|fault| StoreError::Unreadable { column, because: fault.to_string() })
}

fn as_urgency(column: &'static str, rank: i64) -> Stored<Urgency> {
    u8::try_from(rank)
        .ok()
        .and_then(Urgency::from_rank)
        .ok_or_else(|| StoreError::Unreadable { column, because: format!("no urgency has rank {rank}") })
}

/// A record as it is written into a JSON column.
pub fn to_json<T: serde::Serialize>(record: &T) -> Stored<String> {
    serde_json::to_string(record)
        .map_err(|fault| StoreError::Unreadable { column: "json", because: fault.to_string() })
}

/// A row as `column=value` pairs in the order of the names, without those of `beside`; bytes as hex letters. The same on each engine.
pub fn line(row: &AnyRow, beside: &[&str]) -> Stored<String> {
    let mut pairs = Vec::new();
    for name in row.columns().iter().map(Column::name).filter(|name| !beside.contains(name)) {
        let value = if let Ok(text) = row.try_get::<Option<String>, _>(name) {
            text
        } else if let Ok(whole) = row.try_get::<Option<i64>, _>(name) {
            whole.map(|whole| whole.to_string())
        } else {
            row.try_get::<Option<Vec<u8>>, _>(name)?.map(|bytes| HEXLOWER.encode(&bytes))
        };
        pairs.push(format!("{name}={}", value.as_deref().unwrap_or("NULL")));
    }
    pairs.sort();
    Ok(pairs.join(" "))
}

/// How a flag is written: never bind a bool, the engines disagree about it.
pub fn flag(value: bool) -> i64 {
    i64::from(value)
}
