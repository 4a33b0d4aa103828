//! Ids made from one table, and maps by them: nothing that there is one of for
//! each rule, quantity or reason is found by a text or by its place.

use std::fmt;
use std::marker::PhantomData;
use std::ops::{Index, IndexMut};

/// Makes an enum out of a table: each variant with its code, the text that
/// stands for it in files.
macro_rules! ids {
    (
        $(#[$about:meta])*
        $name:ident { $($(#[$of:meta])* $variant:ident = $code:literal,)* }
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name { $($(#[$of])* $variant,)* }

        impl $name {
            /// All of them, in the order of the table.
            pub const ALL: &[$name] = &[$($name::$variant),*];

            /// The text that stands for it in files.
            pub const fn code(self) -> &'static str {
                match self { $($name::$variant => $code,)* }
            }

            /// What the text of a file stands for.
            pub fn from_code(code: &str) -> Option<Self> {
                match code { $($code => Some($name::$variant),)* _ => None }
            }
        }

        impl $crate::rules::Id for $name {
            const ALL: &[Self] = $name::ALL;
            fn at(self) -> usize { self as usize }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.code())
            }
        }

        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                let code = String::deserialize(from)?;
                Self::from_code(&code).ok_or_else(|| {
                    serde::de::Error::unknown_variant(&code, &[$($code),*])
                })
            }
        }

        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                to.serialize_str(self.code())
            }
        }
    };
}
pub(super) use ids;

/// A type made by a table.
pub trait Id: Copy + Eq + fmt::Debug + 'static {
    /// All of them, in the order of the table.
    const ALL: &[Self];
    /// Its place in the table.
    fn at(self) -> usize;
}

/// One value for each id of a table.
#[derive(Clone, PartialEq, Eq)]
pub struct IdMap<K, T> {
    /// As many as the table has, in its order.
    values: Vec<T>,
    ids: PhantomData<K>,
}

impl<K: Id, T> IdMap<K, T> {
    /// What `of` gives for each id.
    pub fn from_fn(of: impl FnMut(K) -> T) -> Self {
        IdMap {
            values: K::ALL.iter().copied().map(of).collect(),
            ids: PhantomData,
        }
    }

    /// Every id with its value, in the order of the table.
    pub fn iter(&self) -> impl Iterator<Item = (K, &T)> {
        K::ALL.iter().copied().zip(&self.values)
    }

    /// The same, to be changed.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = (K, &mut T)> {
        K::ALL.iter().copied().zip(&mut self.values)
    }

    /// The values, in the order of the table.
    pub fn values(&self) -> impl Iterator<Item = &T> {
        self.values.iter()
    }

    /// The same, to be changed.
    pub fn values_mut(&mut self) -> impl Iterator<Item = &mut T> {
        self.values.iter_mut()
    }
}

impl<K: Id, T: Default> Default for IdMap<K, T> {
    fn default() -> Self {
        Self::from_fn(|_| T::default())
    }
}

impl<K: Id, T> Index<K> for IdMap<K, T> {
    type Output = T;
    fn index(&self, id: K) -> &T {
        &self.values[id.at()]
    }
}

impl<K: Id, T> IndexMut<K> for IdMap<K, T> {
    fn index_mut(&mut self, id: K) -> &mut T {
        &mut self.values[id.at()]
    }
}

impl<K: Id, T: fmt::Debug> fmt::Debug for IdMap<K, T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_map().entries(self.iter()).finish()
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::{NotJudged, QuantityId, RULES, RuleId, RuleMap};

    #[test]
    fn every_code_leads_back_to_its_id_and_there_are_no_two_alike() {
        for rule in RuleId::ALL {
            assert_eq!(RuleId::from_code(rule.code()), Some(*rule));
            assert_eq!(rule.rule().id, *rule);
        }
        for quantity in QuantityId::ALL {
            assert_eq!(QuantityId::from_code(quantity.code()), Some(*quantity));
            assert_eq!(quantity.quantity().id, *quantity);
        }
        for reason in NotJudged::ALL {
            assert_eq!(NotJudged::from_code(reason.code()), Some(*reason));
        }
        assert_eq!(RuleId::from_code("of_a_later_program"), None);
    }

    #[test]
    fn a_map_holds_one_value_for_each_id() {
        let mut map = RuleMap::from_fn(|rule| rule.code().len());
        assert_eq!(map.values().count(), RULES.len());
        assert_eq!(map[RuleId::KneeBend], "knee_bend".len());
        map[RuleId::Extension] = 0;
        let found: Vec<RuleId> = map
            .iter()
            .filter(|(_, n)| **n == 0)
            .map(|(r, _)| r)
            .collect();
        assert_eq!(found, [RuleId::Extension]);
    }
}
