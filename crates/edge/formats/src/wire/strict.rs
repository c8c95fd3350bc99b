//! Lines that are read a million times: structures whose reader refuses unknown and repeated fields by itself, lets
//! fields beginning with `x_` pass, and borrows text.

/// Declares a structure with its reader, writer and schema. Each field is marked `[needed]` or `[optional]`;
/// optional ones are `Option`s, and `null` stands for absent.
macro_rules! strict {
    (
        $(#[$meta:meta])*
        $name:ident $(<$lt:lifetime>)? {
            $( $(#[$field_meta:meta])* $field:ident [$need:ident]: $ty:ty, )*
        }
    ) => {
        #[derive(Debug, Clone, serde::Serialize, schemars::JsonSchema)]
        $(#[$meta])*
        pub(crate) struct $name $(<$lt>)? {
            $( $(#[$field_meta])* pub(crate) $field: $ty, )*
        }

        impl<'de $(: $lt, $lt)?> serde::Deserialize<'de> for $name $(<$lt>)? {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Fields $(<$lt>(std::marker::PhantomData<&$lt ()>))? ;
                impl<'de $(: $lt, $lt)?> serde::de::Visitor<'de> for Fields $(<$lt>)? {
                    type Value = $name $(<$lt>)?;
                    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                        f.write_str("an object")
                    }
                    fn visit_map<A: serde::de::MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                        use serde::de::Error as _;
                        $( let mut $field: Option<$ty> = None; )*
                        while let Some(key) = map.next_key::<$crate::wire::text::Word<'de>>()? {
                            match &*key.0 {
                                $( stringify!($field) => {
                                    if $field.is_some() {
                                        return Err(A::Error::duplicate_field(stringify!($field)));
                                    }
                                    $field = Some(map.next_value()?);
                                } )*
                                own if own.starts_with("x_") => {
                                    map.next_value::<serde::de::IgnoredAny>()?;
                                }
                                other => return Err(A::Error::unknown_field(other, &[$(stringify!($field)),*])),
                            }
                        }
                        Ok($name { $( $field: $crate::wire::strict::strict!(@$need $field A), )* })
                    }
                }
                deserializer.deserialize_map(Fields $((std::marker::PhantomData::<&$lt ()>))?)
            }
        }
    };
    (@needed $field:ident $access:ident) => {
        match $field {
            Some(value) => value,
            None => return Err($access::Error::missing_field(stringify!($field))),
        }
    };
    (@optional $field:ident $access:ident) => { $field.unwrap_or(None) };
}
pub(crate) use strict;
