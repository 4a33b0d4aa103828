//! Where a part of a skater's name stands in what the coach wrote about
//! others.

use std::collections::BTreeSet;

use rusqlite::Transaction;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::archive::Archive;
use super::{PassKey, PushKey, StoreError};
use crate::roster::SkaterId;

/// A comment on somebody else's push in which a part of the name stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mention {
    /// The push.
    pub push: PushKey,
    /// What the coach wrote.
    pub comment: String,
    /// The same with the name struck out.
    pub without: String,
}

/// What is done with such comments when the skater is deleted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum MentionsGo {
    /// They stay as they are.
    Keep,
    /// Every part of the name is struck out.
    #[default]
    Strike,
    /// The whole comment goes.
    Delete,
}

/// What a deletion would take, counted now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WouldErase {
    /// Passes, with their pushes, measures and points.
    pub passes: u32,
    /// Sets of pictures.
    pub strips: u32,
    /// Pushes of these passes that the coach wrote a comment to.
    pub comments: u32,
    /// Comments on others' pushes in which a part of the name stands.
    pub mentions: u32,
}

impl Archive {
    /// Comments on others' pushes in which a part of the skater's name stands,
    /// oldest first.
    ///
    /// # Errors
    /// No such skater; recordings that cannot be read.
    pub fn mentions_of(&self, id: SkaterId) -> Result<Vec<Mention>, StoreError> {
        let transaction = self
            .book
            .connection
            .unchecked_transaction()
            .map_err(|e| self.book.fault(e))?;
        let name = self.name_of(&transaction, id)?;
        let found = mentions(&transaction, id, &name).map_err(|e| self.book.fault(e))?;
        Ok(found.into_iter().map(|(_, mention)| mention).collect())
    }

    /// What [`Archive::delete_skater`] would take.
    ///
    /// # Errors
    /// As [`Archive::mentions_of`].
    pub fn would_erase(&self, id: SkaterId) -> Result<WouldErase, StoreError> {
        let mentions = self.mentions_of(id)?.len() as u32;
        self.book
            .connection
            .query_row(
                "SELECT (SELECT count(*) FROM passes WHERE skater_id = ?1),
                        (SELECT count(*) FROM picture_strips s JOIN passes p ON p.id = s.pass_id
                         WHERE p.skater_id = ?1),
                        (SELECT count(*) FROM push_notes n JOIN pushes u ON u.id = n.push_id
                         JOIN passes p ON p.id = u.pass_id
                         WHERE p.skater_id = ?1 AND n.comment <> '')",
                [id.0],
                |r| {
                    Ok(WouldErase {
                        passes: r.get(0)?,
                        strips: r.get(1)?,
                        comments: r.get(2)?,
                        mentions,
                    })
                },
            )
            .map_err(|e| self.book.fault(e))
    }
}

/// Does with the mentions what is wanted; gives how many there were.
pub(super) fn let_go(
    transaction: &Transaction<'_>,
    id: SkaterId,
    name: &str,
    go: MentionsGo,
) -> rusqlite::Result<u32> {
    let found = mentions(transaction, id, name)?;
    for (row, mention) in &found {
        let text = match go {
            MentionsGo::Keep => continue,
            MentionsGo::Strike => mention.without.as_str(),
            MentionsGo::Delete => "",
        };
        transaction.execute(
            "UPDATE push_notes SET comment = ?2 WHERE push_id = ?1",
            rusqlite::params![row, text],
        )?;
    }
    Ok(found.len() as u32)
}

fn mentions(
    transaction: &Transaction<'_>,
    id: SkaterId,
    name: &str,
) -> rusqlite::Result<Vec<(i64, Mention)>> {
    let all: Vec<(i64, PushKey, String)> = transaction
        .prepare(
            "SELECT n.push_id, p.session_id, p.number, u.position, n.comment
             FROM push_notes n JOIN pushes u ON u.id = n.push_id JOIN passes p ON p.id = u.pass_id
             WHERE n.comment <> '' AND p.skater_id IS NOT ?1 ORDER BY n.push_id",
        )?
        .query_map([id.0], |r| {
            let pass = PassKey {
                session: r.get(1)?,
                number: r.get(2)?,
            };
            let position = r.get(3)?;
            Ok((r.get(0)?, PushKey { pass, position }, r.get(4)?))
        })?
        .collect::<rusqlite::Result<_>>()?;
    let found = |(row, push, comment): (i64, PushKey, String)| {
        let without = without_name(&comment, name)?;
        let mention = Mention {
            push,
            comment,
            without,
        };
        Some((row, mention))
    };
    Ok(all.into_iter().filter_map(found).collect())
}

/// The text with every part of the name struck out, whatever its case and
/// accents; `None` where no part is in it. A number is no name: '12' stands in
/// many texts.
pub(super) fn without_name(text: &str, name: &str) -> Option<String> {
    let parts: BTreeSet<String> = words(name)
        .map(|(_, word)| folded(word))
        .filter(|part| part.chars().any(char::is_alphabetic))
        .collect();
    // One letter is an initial, unless the name is nothing else.
    let whole: BTreeSet<&String> = match parts.iter().any(|p| p.chars().count() > 1) {
        true => parts.iter().filter(|p| p.chars().count() > 1).collect(),
        false => parts.iter().collect(),
    };
    let text_words: Vec<(usize, &str)> = words(text).collect();
    let mut is_name: Vec<bool> = text_words
        .iter()
        .map(|(_, word)| whole.contains(&folded(word)))
        .collect();
    if !is_name.contains(&true) {
        return None;
    }
    // 'Quirina V.': an initial beside the name belongs to it.
    let initial = |word: &str| {
        let letter = folded(word);
        letter.chars().count() == 1 && parts.iter().any(|p| p.starts_with(&letter))
    };
    // With nothing but space between: the s of "Sam's" is none.
    let apart = |i: usize| {
        let (start, word) = text_words[i];
        let between = &text[start + word.len()..text_words[i + 1].0];
        between.trim().is_empty()
    };
    for i in 0..text_words.len() {
        let beside = (i > 0 && is_name[i - 1] && apart(i - 1))
            || (is_name.get(i + 1) == Some(&true) && apart(i));
        is_name[i] = is_name[i] || (beside && initial(text_words[i].1));
    }
    let mut out = String::new();
    let mut at = 0;
    for (i, (start, word)) in text_words.iter().enumerate() {
        if !is_name[i] {
            continue;
        }
        let between = &text[at..*start];
        // First and family name are struck out as one.
        let goes_on = at > 0 && !between.is_empty() && between.trim().is_empty();
        if !goes_on {
            out.push_str(between);
            out.push_str("[deleted]");
        }
        at = start + word.len();
    }
    out.push_str(&text[at..]);
    Some(out)
}

/// The words of a text with their places: letters, digits and the marks on
/// them.
fn words(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let of_word = |c: char| c.is_alphanumeric() || is_combining_mark(c);
    let mut at = 0;
    std::iter::from_fn(move || {
        let start = at + text[at..].find(of_word)?;
        let end = text[start..]
            .find(|c| !of_word(c))
            .map_or(text.len(), |n| start + n);
        at = end;
        Some((start, &text[start..end]))
    })
}

/// Without accents and in small letters. Letters that Unicode does not take
/// apart are written as those without a keyboard for them do.
fn folded(word: &str) -> String {
    word.nfkd()
        .filter(|c| !is_combining_mark(*c))
        .flat_map(char::to_lowercase)
        .filter(|c| !is_combining_mark(*c))
        .map(|c| match c {
            'ł' => "l".to_owned(),
            'đ' | 'ð' => "d".to_owned(),
            'ø' => "o".to_owned(),
            'ß' => "ss".to_owned(),
            'æ' => "ae".to_owned(),
            'œ' => "oe".to_owned(),
            'ı' => "i".to_owned(),
            c => c.to_string(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_of_a_name_is_found_as_a_word_and_only_as_one() {
        let out = |text: &str, name: &str| without_name(text, name);
        for (text, name, wanted) in [
            (
                "Better than ROBIN, robin!",
                "Robin",
                "Better than [deleted], [deleted]!",
            ),
            ("a robin's knee", "Robin", "a [deleted]'s knee"),
            ("Sam's knee", "Sam", "[deleted]'s knee"),
            ("Zoë Ürün und Zoë", "zoë ürün", "[deleted] und [deleted]"),
            (
                "Watch Quirina Vossberg and Quirina",
                "Quirina Vossberg",
                "Watch [deleted] and [deleted]",
            ),
            (
                "quirina v. again; #77",
                "Quirina Vossberg",
                "[deleted]. again; #77",
            ),
            ("Vossberg kid", "Quirina Vossberg", "[deleted] kid"),
            ("zoe and Zoe\u{308}", "Zoë 🏒", "[deleted] and [deleted]"),
            ("Lukasz late", "Łukasz", "[deleted] late"),
            ("stroke of SORENSEN", "Sørensen", "stroke of [deleted]"),
            ("7 דנה מהיר", "דנה כהן", "7 [deleted] מהיר"),
        ] {
            assert_eq!(out(text, name).as_deref(), Some(wanted), "{text}");
        }
        for (text, name) in [
            ("Robinson", "Robin"),
            ("12 passes", "12"),
            ("12 passes", "Robin 12"),
            ("", "Robin"),
            ("İstanbul", "i"),
            ("a good push", "A. Berg"),
        ] {
            assert_eq!(out(text, name), None, "{text}");
        }
    }
}
