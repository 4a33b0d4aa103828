//! One declaration per key of a settings file: the reader, the commented
//! defaults and the reference are all made from it.

/// One key of a settings file.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// Its name in the file.
    pub name: &'static str,
    /// What may be written.
    pub kind: Kind,
    /// What holds when it is left out.
    pub absent: Absent,
    /// A value as it is written in the file.
    pub example: &'static str,
    /// One or two sentences for the reference.
    pub what: &'static str,
}

/// The kind of value a key takes.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// A number from `low` to `high`.
    Number {
        /// Smallest value allowed.
        low: f64,
        /// Largest value allowed.
        high: f64,
    },
    /// A whole number from `low` to `high`.
    Whole {
        /// Smallest value allowed.
        low: u32,
        /// Largest value allowed.
        high: u32,
    },
    /// `count` numbers from `low` to `high`, as a list.
    Numbers {
        /// How many.
        count: usize,
        /// Smallest value allowed.
        low: f64,
        /// Largest value allowed.
        high: f64,
    },
    /// `true` or `false`.
    Flag,
    /// Any text that is not empty.
    Text,
    /// One of these words.
    Choice(&'static [&'static str]),
}

/// What holds when a key is left out.
#[derive(Debug, Clone, Copy)]
pub enum Absent {
    /// The file is refused.
    Refused,
    /// This value, as it would be written in the file.
    Default(&'static str),
    /// Something that is no value; in a few words.
    Means(&'static str),
}

impl Key {
    /// A key that may be left out: then `default` holds, which is also its
    /// example.
    pub const fn with_default(
        name: &'static str,
        kind: Kind,
        default: &'static str,
        what: &'static str,
    ) -> Key {
        Key {
            name,
            kind,
            absent: Absent::Default(default),
            example: default,
            what,
        }
    }
}

impl Kind {
    /// What may be written, for a table cell or a comment.
    pub fn allowed(&self) -> String {
        match self {
            Kind::Number { low, high } => format!("{low} to {high}"),
            Kind::Whole { low, high } => format!("whole, {low} to {high}"),
            Kind::Numbers { count, low, high } => {
                format!("list of {count}, each {low} to {high}")
            }
            Kind::Flag => "true or false".to_owned(),
            Kind::Text => "text".to_owned(),
            Kind::Choice(words) => words
                .iter()
                .map(|w| format!("\"{w}\""))
                .collect::<Vec<_>>()
                .join(", "),
        }
    }
}

impl Key {
    /// What holds when the key is left out, for a table cell.
    pub fn when_absent(&self) -> &'static str {
        match self.absent {
            Absent::Refused => "has to be given",
            Absent::Default(value) | Absent::Means(value) => value,
        }
    }

    /// The key as two or more lines of a settings file: what it is, then the
    /// value, commented out where it is only the default.
    pub fn as_commented_default(&self) -> String {
        let (mark, value) = match self.absent {
            Absent::Refused => ("", self.example),
            Absent::Default(value) => ("# ", value),
            Absent::Means(_) => ("# ", self.example),
        };
        let mut text = wrapped_comment(&format!("{} ({})", self.what, self.kind.allowed()));
        if let Absent::Means(words) = self.absent {
            text += &wrapped_comment(&format!("Left out: {words}."));
        }
        text + &format!("{mark}{} = {value}\n", self.name)
    }
}

/// `text` as `# ` comment lines of at most 78 characters.
pub fn wrapped_comment(text: &str) -> String {
    let mut out = String::new();
    let mut line = String::from("#");
    for word in text.split_whitespace() {
        if line.len() > 1 && line.chars().count() + 1 + word.chars().count() > 78 {
            out += &line;
            out.push('\n');
            line = String::from("#");
        }
        line.push(' ');
        line += word;
    }
    out + &line + "\n"
}

/// A Markdown table of keys.
pub fn markdown_table(keys: &[&Key]) -> String {
    let mut out = String::from("| key | may be | left out | what it is |\n|---|---|---|---|\n");
    for key in keys {
        out += &format!(
            "| `{}` | {} | {} | {} |\n",
            key.name,
            key.kind.allowed(),
            key.when_absent(),
            key.what.trim()
        );
    }
    out
}
