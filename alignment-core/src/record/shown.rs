//! What of a text reaches a page. No text of a record may become markup, move what stands around it, or push it off the page.

use alloc::format;
use alloc::string::String;
use askama::filters::{Escaper, Html};
use core::fmt::{self, Write};

/// So many characters of a text stand on a page; the rest is in the record alone, and the page says so.
pub const SHOWN_CHARACTERS: usize = 600;
/// So many marks may stack on one letter: more would be drawn over the lines above and below.
const STACKED_MARKS: usize = 4;

/// A text as a page shows it.
pub(super) struct Shown {
    /// What is shown.
    pub(super) text: String,
    /// How many characters the whole text has, where it was cut.
    pub(super) cut: Option<usize>,
}

impl Shown {
    /// Line breaks and tabs become spaces. Control characters of ASCII become their pictures, whatever else would be invisible, is no character or
    /// changes the direction of writing becomes U+FFFD.
    pub(super) fn of(text: &str) -> Self {
        let mut shown = String::new();
        let (mut taken, mut marks) = (0, 0);
        for character in text.trim().chars().take(SHOWN_CHARACTERS).map(visible) {
            marks = if is_mark(character) { marks + 1 } else { 0 };
            if marks <= STACKED_MARKS {
                shown.push(character);
            }
            taken += 1;
        }
        let all = if taken < SHOWN_CHARACTERS { taken } else { text.trim().chars().count() };
        if shown.is_empty() {
            shown.push_str("(empty)");
        }
        Self { text: shown, cut: (all > taken).then_some(all) }
    }

    /// Whether some of it is written from right to left.
    fn right_to_left(&self) -> bool {
        self.text.chars().any(|character| {
            matches!(character, '\u{590}'..='\u{8ff}' | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{fefe}'
                | '\u{10800}'..='\u{10fff}' | '\u{1e800}'..='\u{1efff}')
        })
    }

    /// It in a page of HTML: escaped, isolated from what stands around it, and with the sentence that says where it was cut.
    pub(super) fn html(&self) -> String {
        let cut = self.cut.map(|all| format!(" <span class=\"cut\">(cut here: {all} characters in the record)</span>"));
        format!("<bdi dir=\"auto\">{}</bdi>{}", escaped(Html, &self.text), cut.unwrap_or_default())
    }

    /// It in a page of Markdown.
    pub(super) fn markdown(&self) -> String {
        self.isolated(&escaped(Markdown, &self.text))
    }

    /// It behind a number, not escaped yet.
    pub(super) fn plain(&self) -> String {
        self.isolated(&self.text)
    }

    /// Without markup to isolate it, U+2068 and U+2069 do, where it needs them.
    fn isolated(&self, text: &str) -> String {
        let [before, after] = if self.right_to_left() { ["\u{2068}", "\u{2069}"] } else { [""; 2] };
        let cut = self.cut.map(|all| format!(" (cut here: {all} characters in the record)"));
        format!("{before}{text}{after}{}", cut.unwrap_or_default())
    }
}

/// A text without markup.
pub(super) fn escaped(escaper: impl Escaper, text: &str) -> String {
    let mut to = String::new();
    // Writing to a string cannot fail.
    let _ = escaper.write_escaped_str(&mut to, text);
    to
}

/// Whether a character may be drawn onto the one before it, or joins what is. Rust's own table of marks is not public, but its escapes are: they tell
/// marks, joiners and characters that nobody knows yet.
fn is_mark(character: char) -> bool {
    let private = matches!(character, '\u{e000}'..='\u{f8ff}' | '\u{f0000}'..);
    !character.is_ascii() && !character.is_whitespace() && !private && character.escape_debug().len() > 1
}

fn visible(character: char) -> char {
    match character {
        '\t' | '\n' | '\r' | '\u{85}' | '\u{2028}' | '\u{2029}' => ' ',
        // The control pictures stand in the order of the characters that they picture.
        '\0'..='\u{1f}' => char::from_u32(0x2400 + u32::from(character)).unwrap_or(char::REPLACEMENT_CHARACTER),
        '\u{7f}' => '\u{2421}',
        '\u{80}'..='\u{9f}'
        | '\u{ad}'
        | '\u{61c}'
        | '\u{115f}'..='\u{1160}'
        | '\u{180e}'
        | '\u{200b}'
        | '\u{200e}'..='\u{200f}'
        | '\u{202a}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}'
        | '\u{3164}'
        | '\u{fdd0}'..='\u{fdef}'
        | '\u{feff}'
        | '\u{ffa0}'
        | '\u{fff9}'..='\u{fffb}'
        | '\u{e0000}'..='\u{e0fff}' => char::REPLACEMENT_CHARACTER,
        // Two of each plane are no characters.
        other if u32::from(other) & 0xfffe == 0xfffe => char::REPLACEMENT_CHARACTER,
        other => other,
    }
}

/// Escapes a text for Markdown: whatever has a meaning there has a backslash. Line breaks become spaces, so that a cell of a table stays one.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Markdown;

impl Escaper for Markdown {
    fn write_escaped_str<W: Write>(&self, mut to: W, text: &str) -> fmt::Result {
        let mut characters = text.chars().peekable();
        let mut behind_digit = false;
        while let Some(character) = characters.next() {
            match character {
                '\n' | '\r' => to.write_char(' ')?,
                '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '~' | '&' | ':' | '$' | '@' | '#' | '{'
                | '}' | '!' => {
                    to.write_char('\\')?;
                    to.write_char(character)?;
                }
                // That of a number has no meaning, that of an address has.
                '.' if !(behind_digit && characters.peek().is_some_and(char::is_ascii_digit)) => to.write_str("\\.")?,
                other => to.write_char(other)?,
            }
            behind_digit = character.is_ascii_digit();
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_moves_or_hides_text_is_shown_instead() {
        let shown = |text: &str| Shown::of(text).text;
        assert_eq!(shown("a\u{0}b\u{1b}c\u{7f}"), "a␀b␛c␡");
        assert_eq!(shown("\u{202e}abc\u{2066}d\u{200f}"), "\u{fffd}abc\u{fffd}d\u{fffd}");
        assert_eq!(shown("one\r\ntwo\u{2028}three\t"), "one  two three");
        assert_eq!(shown("\u{fffe}\u{1ffff}\u{fdd0}\u{feff}\u{e0041}"), "\u{fffd}".repeat(5));
        assert_eq!(shown(" \n "), "(empty)");
        assert_eq!(shown(&format!("e{}", "\u{301}".repeat(40))).chars().count(), 1 + STACKED_MARKS);
        // Joiners begin no new stack, and marks of every script are counted.
        for stack in [
            "\u{301}\u{301}\u{301}\u{301}\u{200c}",
            "\u{301}\u{200d}",
            "\u{f74}",
            "\u{6da}",
            "\u{5bf}",
            "\u{3099}",
            "\u{a66f}",
        ] {
            assert_eq!(shown(&format!("e{}", stack.repeat(40))).chars().count(), 1 + STACKED_MARKS, "{stack:?}");
        }
        let spaced = "a\u{a0}\u{a0}\u{a0}\u{a0}\u{a0}b \u{e000}\u{e001}\u{e002}\u{e003}\u{e004}";
        assert_eq!(shown(spaced), spaced);
        let hebrew = Shown::of("\u{5d0}\u{5d1}");
        assert_eq!(hebrew.markdown(), "\u{2068}\u{5d0}\u{5d1}\u{2069}");
        assert_eq!(Shown::of("a*").markdown(), r"a\*");
        assert_eq!(Shown::of("<a>").html(), "<bdi dir=\"auto\">&#60;a&#62;</bdi>");
    }

    #[test]
    fn a_long_text_is_cut_and_its_length_told() {
        let just = Shown::of(&"é".repeat(SHOWN_CHARACTERS));
        assert_eq!((just.text.chars().count(), just.cut), (SHOWN_CHARACTERS, None));
        let longer = Shown::of(&"é".repeat(SHOWN_CHARACTERS + 1));
        assert_eq!((longer.text.chars().count(), longer.cut), (SHOWN_CHARACTERS, Some(SHOWN_CHARACTERS + 1)));
    }

    #[test]
    fn markdown_is_escaped_but_numbers_stay_legible() {
        let escaped = |text: &str| escaped(Markdown, text);
        assert_eq!(escaped("−0.41 ± 0.02°"), "−0.41 ± 0.02°");
        assert_eq!(escaped("| *a* <b> [c](d)"), r"\| \*a\* \<b\> \[c\](d)");
        assert_eq!(escaped("www.example.org"), r"www\.example\.org");
        assert_eq!(escaped("www.1example.org"), r"www\.1example\.org");
        assert_eq!(escaped("a\nb"), "a b");
    }
}
