//! Enums with a fixed code for the database, the form and JSON: one list, matched in full everywhere else.

/// A code that stands for none of an enum's values.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{code}` is not one of: {allowed}")]
pub struct UnknownCode {
    pub code: String,
    pub allowed: String,
}

/// Declares an enum whose values have codes: `ALL`, `code()`, `FromStr`, and serde by code.
macro_rules! coded {
    ($(#[$doc:meta])* pub enum $name:ident { $($(#[$value_doc:meta])* $value:ident = $code:literal),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        pub enum $name { $($(#[$value_doc])* #[serde(rename = $code)] $value),* }

        impl $name {
            pub const ALL: &'static [$name] = &[$($name::$value),*];

            /// The code in the database, in forms and in JSON.
            pub fn code(self) -> &'static str {
                match self { $($name::$value => $code),* }
            }
        }

        impl std::str::FromStr for $name {
            type Err = $crate::plan::UnknownCode;

            fn from_str(code: &str) -> Result<$name, $crate::plan::UnknownCode> {
                $name::ALL.iter().copied().find(|value| value.code() == code).ok_or_else(|| {
                    let allowed: Vec<&str> = $name::ALL.iter().map(|value| value.code()).collect();
                    $crate::plan::UnknownCode { code: code.to_owned(), allowed: allowed.join(", ") }
                })
            }
        }
    };
}
pub(crate) use coded;
