//! What leaves: the passes of the chosen sessions and who skated them, with
//! everything already taken out that may not leave.

use crate::config::Lane;
use crate::feedback::Cue;
use crate::rules::{AgeGroup, Flag, JudgedPass, Rule, RuleId};
use crate::store::{EngineInfo, SourceInfo, SourceKind};

use crate::roster::SkaterId;
use crate::store::{PassKey, PushNote, StripInfo, Verdict};

/// Everything but pictures and points, which are fetched one by one.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Material {
    /// The sessions, oldest first.
    pub sessions: Vec<SessionPart>,
    /// Who skated, in the order of their first pass.
    pub people: Vec<Person>,
    /// Whether names were taken out.
    pub anonymous: bool,
    /// Passes that do not read as they were written and are left out.
    pub passes_damaged: usize,
}

/// One session.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionPart {
    /// The number it is called by: the store's, or from 1 where anonymous.
    pub number: i64,
    /// Wall clock of its beginning; `None` where anonymous.
    pub started_at: Option<String>,
    /// Where the pictures came from.
    pub source: SourceInfo,
    /// The camera set-up.
    pub lane: Lane,
    /// What did the measuring.
    pub engine: EngineInfo,
    /// The group of the session.
    pub age_group: AgeGroup,
    /// The station was stopped in the middle.
    pub interrupted: bool,
    /// Passes that could not be stored.
    pub passes_lost: u32,
    /// The chosen passes by number.
    pub passes: Vec<PassPart>,
}

/// One pass.
#[derive(Debug, Clone, PartialEq)]
pub struct PassPart {
    /// Names it in the store.
    pub key: PassKey,
    /// The pass as it was judged.
    pub pass: JudgedPass,
    /// The cue that was given.
    pub cue: Cue,
    /// Index into [`Material::people`]; `None` where nobody was chosen.
    pub person: Option<usize>,
    /// What the coach said of each push; may be shorter than the pushes.
    pub notes: Vec<PushNote>,
    /// The pictures there are and that may leave.
    pub strips: Vec<StripInfo>,
    /// Whether the store has the body points.
    pub has_points: bool,
    /// The camera set-up it was measured with.
    pub lane: Lane,
    /// What measured it, where it is not the session's.
    pub engine: Option<EngineInfo>,
    /// The camera or file it was seen by, where it is not the session's.
    pub source: Option<SourceInfo>,
}

/// One skater.
#[derive(Debug, Clone, PartialEq)]
pub struct Person {
    /// The store's number.
    pub id: SkaterId,
    /// Name, nickname or number as the coach wrote it; empty where anonymous.
    pub name: String,
    /// The bib; `None` where anonymous.
    pub bib: Option<String>,
    /// Whether pictures may be kept of them.
    pub consent: bool,
}

/// Longest name that is shown on a page, characters.
const LONGEST_NAME: usize = 60;

impl Person {
    /// How they are called on pages: '12 Robin'. `number` is their place in
    /// the export from 1, for those without a name.
    pub fn label(&self, number_label: &str) -> String {
        let name = tidy(&self.name);
        let bib = self.bib.as_deref().map(tidy).unwrap_or_default();
        match (bib.is_empty(), name.is_empty()) {
            (_, true) if self.bib.is_none() => number_label.to_owned(),
            (true, true) => number_label.to_owned(),
            (false, true) => bib,
            (true, false) => name,
            (false, false) => format!("{bib} {name}"),
        }
    }
}

/// One line without control characters, not longer than a line may be.
pub fn tidy(text: &str) -> String {
    let line: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .filter(|c| !is_direction_mark(*c))
        .collect();
    let line = line.split_whitespace().collect::<Vec<_>>().join(" ");
    if line.chars().count() <= LONGEST_NAME {
        return line;
    }
    line.chars().take(LONGEST_NAME - 1).chain(['…']).collect()
}

/// Marks that turn the direction of what follows; a page sets its own.
fn is_direction_mark(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Letters of every script, digits and hyphens of a name, for a file name that
/// every system takes; empty where nothing is left. No letter is lost: 'Théo'
/// stays 'théo'.
pub fn slug(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars().take(4 * LONGEST_NAME) {
        if c.is_alphanumeric() {
            out.extend(c.to_lowercase());
        } else if !out.ends_with('-') && !out.is_empty() {
            out.push('-');
        }
        if out.len() >= 40 {
            break;
        }
    }
    out.trim_end_matches('-').to_owned()
}

impl PassPart {
    /// What the coach said of a push.
    pub fn note(&self, push: usize) -> Option<&PushNote> {
        self.notes.get(push)
    }

    /// What the coach said of a flag.
    pub fn verdict(&self, push: usize, rule: RuleId) -> Option<Verdict> {
        self.note(push)?.verdicts.get(&rule).copied()
    }

    /// The flags of a push that the coach did not dismiss.
    pub fn standing(&self, push: usize) -> impl Iterator<Item = &Flag> {
        self.pass
            .pushes
            .get(push)
            .into_iter()
            .flat_map(|p| &p.flags)
            .filter(move |f| self.verdict(push, f.rule) != Some(Verdict::Dismissed))
    }

    /// Whether a push is flagged by a rule, and not dismissed.
    pub fn stands(&self, push: usize, rule: &Rule) -> bool {
        self.standing(push).any(|f| f.rule == rule.id)
    }

    /// Whether anything of the pass is flagged and not dismissed.
    pub fn is_flagged(&self) -> bool {
        (0..self.pass.pushes.len()).any(|i| self.standing(i).next().is_some())
    }
}

impl SessionPart {
    /// Short name for files: `s12`.
    pub fn stem(&self) -> String {
        format!("s{}", self.number)
    }
}

/// The kind of a source in the place of its name.
fn nameless(source: &mut SourceInfo) {
    source.name = match source.kind {
        SourceKind::Camera => "camera",
        SourceKind::Video => "video",
        SourceKind::Images => "images",
    }
    .to_owned();
}

impl Material {
    /// Takes out names, bibs, comments, dates and what the camera or file is
    /// called; sessions are counted from 1.
    pub fn make_anonymous(&mut self) {
        self.anonymous = true;
        for person in &mut self.people {
            person.name.clear();
            person.bib = None;
        }
        for (i, session) in self.sessions.iter_mut().enumerate() {
            session.number = i as i64 + 1;
            session.started_at = None;
            // A day of the rink's calendar, too.
            if let Some(checked) = &mut session.lane.checked {
                checked.date = None;
            }
            nameless(&mut session.source);
            for pass in &mut session.passes {
                pass.source.iter_mut().for_each(nameless);
                for note in &mut pass.notes {
                    note.comment.clear();
                }
                pass.strips.retain(|s| s.faces_blurred);
            }
        }
    }

    /// Every pass with its session.
    pub fn passes(&self) -> impl Iterator<Item = (&SessionPart, &PassPart)> {
        self.sessions
            .iter()
            .flat_map(|s| s.passes.iter().map(move |p| (s, p)))
    }

    /// The passes of somebody, or of nobody.
    pub fn passes_of(
        &self,
        person: Option<usize>,
    ) -> impl Iterator<Item = (&SessionPart, &PassPart)> {
        self.passes().filter(move |(_, p)| p.person == person)
    }

    /// Whether all of it is one skater's: then it names nobody else.
    pub fn is_of_one(&self) -> bool {
        self.people.len() == 1 && !self.has_nobody()
    }

    /// Whether some passes are of nobody.
    pub fn has_nobody(&self) -> bool {
        self.passes().any(|(_, p)| p.person.is_none())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odd_names_become_harmless_file_names() {
        // Reserved names of Windows are made harmless by the number that
        // stands before every slug.
        for (name, wanted) in [
            ("Robin", "robin"),
            ("12 / Rob\u{0}in", "12-rob-in"),
            ("../../etc/passwd", "etc-passwd"),
            ("Zoë 🏒", "zoë"),
            ("שלום", "שלום"),
            ("....", ""),
            ("a".repeat(500).as_str(), &"a".repeat(40)),
        ] {
            assert_eq!(slug(name), wanted, "{name}");
        }
    }

    #[test]
    fn labels_are_one_line_and_not_too_long() {
        let person = |name: &str, bib: Option<&str>| Person {
            id: SkaterId(1),
            name: name.to_owned(),
            bib: bib.map(str::to_owned),
            consent: false,
        };
        assert_eq!(person("Robin", Some("12")).label("Skater 1"), "12 Robin");
        assert_eq!(person("Ro\nbin\u{0}", None).label("Skater 1"), "Ro bin");
        assert_eq!(person("\u{202e}evil", None).label("x"), "evil");
        assert_eq!(person("", None).label("Skater 1"), "Skater 1");
        assert_eq!(person(" ", Some("7")).label("Skater 1"), "7");
        let long = person(&"é".repeat(5000), None).label("x");
        assert_eq!(long.chars().count(), LONGEST_NAME);
    }
}
