//! Which pose model and which inference engine: the words of the command line
//! and of the settings file.

use clap::ValueEnum;

/// Which pose model to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ModelChoice {
    /// The most exact one: about four times the work of full.
    Heavy,
    /// The middle one.
    Full,
    /// The fastest one, for slow machines.
    Lite,
}

impl ModelChoice {
    /// All models, in the order of their names in files.
    pub const ALL: [ModelChoice; 3] = [ModelChoice::Heavy, ModelChoice::Full, ModelChoice::Lite];

    /// The next one that takes less work.
    pub fn lighter(self) -> Option<ModelChoice> {
        match self {
            ModelChoice::Heavy => Some(ModelChoice::Full),
            ModelChoice::Full => Some(ModelChoice::Lite),
            ModelChoice::Lite => None,
        }
    }

    /// The next one that is more exact.
    pub fn more_exact(self) -> Option<ModelChoice> {
        Self::ALL.into_iter().find(|m| m.lighter() == Some(self))
    }

    /// The name used in files and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            ModelChoice::Heavy => "heavy",
            ModelChoice::Full => "full",
            ModelChoice::Lite => "lite",
        }
    }
}

/// Which inference engine to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum EngineChoice {
    /// The native one where its library is found, else the embedded one.
    Auto,
    /// The native ONNX Runtime library; an error where it is not found.
    Native,
    /// The one inside this program.
    Embedded,
}

impl EngineChoice {
    /// All choices, in the order of their names in files.
    pub const ALL: [EngineChoice; 3] = [
        EngineChoice::Auto,
        EngineChoice::Native,
        EngineChoice::Embedded,
    ];

    /// The name used in files and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            EngineChoice::Auto => "auto",
            EngineChoice::Native => "native",
            EngineChoice::Embedded => "embedded",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The command line takes the words the settings file takes.
    #[test]
    fn names_are_the_same_everywhere() {
        for m in ModelChoice::ALL {
            assert_eq!(m.to_possible_value().unwrap().get_name(), m.name());
        }
        for e in EngineChoice::ALL {
            assert_eq!(e.to_possible_value().unwrap().get_name(), e.name());
        }
    }
}
