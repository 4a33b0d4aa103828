//! One declaration for each key of a table of settings: its words for the
//! reference, its type, its range and its default stand in one place.

/// Makes a table of settings: the type, its defaults, its keys and its reader.
///
/// A key is written `/// words`, its name, and one of
/// - `whole(least, most, default)`: a `u32`;
/// - `whole_or_none(least, most, default)`: the same, where 0 is `None`;
/// - `number(least, most, default)`: an `f64`;
/// - `flag(default)`: a `bool`;
/// - `choice(Type { "word" => Variant, ... })`: the first one is the default;
/// - `text("what it means where it is left out", "example")`: an `Option<String>`.
///
/// What stands below `elsewhere` is part of the type and no key.
///
/// ```
/// kickplate_measure::settings! {
///     /// How it rings.
///     #[derive(Debug, Clone, PartialEq)]
///     pub struct Bell, BELL_KEYS {
///         /// How often it rings.
///         times: whole(1, 9, 3);
///         /// Whether it rings at night.
///         at_night: flag(false);
///     }
/// }
/// use kickplate_measure::config::Document;
/// let text = "[bell]\ntimes = 5\n";
/// let document = Document::parse(text, "bell.toml").unwrap();
/// let section = document.root().section("bell").unwrap().unwrap();
/// let bell = Bell::from_section(&section).unwrap();
/// assert_eq!(bell, Bell { times: 5, ..Bell::default() });
/// assert_eq!(BELL_KEYS.map(|key| key.name), ["times", "at_night"]);
/// let wrong = "[bell]\ntimes = 50\n";
/// let document = Document::parse(wrong, "bell.toml").unwrap();
/// let section = document.root().section("bell").unwrap().unwrap();
/// assert_eq!(
///     Bell::from_section(&section).unwrap_err().to_string(),
///     "bell.toml, line 2: bell.times = 50 is out of range; it must be between 1 and 9"
/// );
/// ```
#[macro_export]
macro_rules! settings {
    (
        $(#[$about:meta])*
        $seen:vis struct $name:ident, $keys:ident {
            $($(#[doc = $what:literal])+ $key:ident: $kind:ident($($of:tt)*);)+
            $(elsewhere { $($(#[$more:meta])* $extra:ident: $extra_type:ty;)+ })?
        }
    ) => {
        $(#[$about])*
        $seen struct $name {
            $($(#[doc = $what])+ pub $key: $crate::settings!(@type $kind $($of)*),)+
            $($($(#[$more])* pub $extra: $extra_type,)+)?
        }

        impl Default for $name {
            fn default() -> Self {
                $name {
                    $($key: $crate::settings!(@default $kind $($of)*),)+
                    $($($extra: Default::default(),)+)?
                }
            }
        }

        /// Every key of the table.
        $seen const $keys: [&$crate::config::Key; [$(stringify!($key)),+].len()] = [
            $(&$crate::config::Key {
                name: stringify!($key),
                what: concat!($($what),+),
                ..$crate::settings!(@key $kind $($of)*)
            }),+
        ];

        impl $name {
            /// Reads and checks the table.
            ///
            /// # Errors
            /// A key nobody knows, or a value that cannot be.
            $seen fn from_section(
                section: &$crate::config::Section<'_>,
            ) -> Result<Self, $crate::config::ConfigError> {
                section.only(&$keys.map(|key| key.name))?;
                let [$($key),+] = $keys;
                Ok($name {
                    $($key: $crate::settings!(@read section, $key, $kind $($of)*),)+
                    $($($extra: Default::default(),)+)?
                })
            }
        }
    };

    (@type whole $($of:tt)*) => { u32 };
    (@type whole_or_none $($of:tt)*) => { Option<u32> };
    (@type number $($of:tt)*) => { f64 };
    (@type flag $($of:tt)*) => { bool };
    (@type text $($of:tt)*) => { Option<String> };
    (@type choice $type:ident $($of:tt)*) => { $type };

    (@default whole $low:literal, $high:literal, $default:literal) => { $default };
    (@default whole_or_none $low:literal, $high:literal, $default:literal) => {
        Some($default).filter(|value| *value > 0)
    };
    (@default number $low:literal, $high:literal, $default:literal) => {{
        #[allow(clippy::unnecessary_cast, reason = "whole numbers are written without a point")]
        { $default as f64 }
    }};
    (@default flag $default:literal) => { $default };
    (@default text $($of:tt)*) => { None };
    (@default choice $type:ident { $first:literal => $variant:ident $($rest:tt)* }) => {
        $type::$variant
    };

    (@key whole_or_none $($of:tt)*) => { $crate::settings!(@key whole $($of)*) };
    (@key whole $low:literal, $high:literal, $default:literal) => {
        $crate::config::Key::with_default(
            "",
            $crate::config::Kind::Whole { low: $low, high: $high },
            stringify!($default),
            "",
        )
    };
    (@key number $low:literal, $high:literal, $default:literal) => {
        $crate::config::Key::with_default(
            "",
            $crate::config::Kind::Number { low: $low, high: $high },
            stringify!($default),
            "",
        )
    };
    (@key flag $default:literal) => {
        $crate::config::Key::with_default("", $crate::config::Kind::Flag, stringify!($default), "")
    };
    (@key choice $type:ident {
        $first:literal => $default:ident $(, $word:literal => $variant:ident)* $(,)?
    }) => {
        $crate::config::Key::with_default(
            "",
            $crate::config::Kind::Choice(&[$first $(, $word)*]),
            concat!("\"", $first, "\""),
            "",
        )
    };
    (@key text $means:literal, $example:literal) => {
        $crate::config::Key {
            kind: $crate::config::Kind::Text,
            absent: $crate::config::Absent::Means($means),
            example: $example,
            name: "",
            what: "",
        }
    };

    (@read $section:ident, $key:ident, whole_or_none $($of:tt)*) => {
        Some($section.declared_whole($key)?).filter(|value| *value > 0)
    };
    (@read $section:ident, $key:ident, whole $($of:tt)*) => {
        $section.declared_whole($key)?
    };
    (@read $section:ident, $key:ident, number $($of:tt)*) => {
        $section.declared_number($key)?
    };
    (@read $section:ident, $key:ident, flag $($of:tt)*) => {
        $section.declared_flag($key)?
    };
    (@read $section:ident, $key:ident, text $($of:tt)*) => {
        $section.declared_text($key)?
    };
    (@read $section:ident, $key:ident, choice $type:ident { $($word:literal => $variant:ident),+ $(,)? }) => {
        [$($type::$variant),+][$section
            .declared_choice($key)?
            .unwrap_or_default()]
    };
}
