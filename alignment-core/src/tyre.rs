//! Tyre sizes: from the code on the sidewall to lengths.
//!
//! The metric code gives section width in mm, aspect ratio in percent, construction, and the rim's diameter in inches. Overall diameter
//! is that of the new tyre without load, of use as the reference diameter of a toe length; the loaded radius is less than half of it.

use crate::error::{Error, ErrorCode};

/// Millimetres in one inch.
const MM_PER_INCH: f64 = 25.4;

/// A tyre size, from its code.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TyreSize {
    /// Nominal section width.
    pub section_width_mm: f64,
    /// Nominal aspect ratio: section height over section width, in percent.
    pub aspect_ratio_percent: f64,
    /// Nominal rim diameter, as the code's inches.
    pub rim_diameter_mm: f64,
    /// Section height: width times aspect ratio.
    pub section_height_mm: f64,
    /// Overall diameter: rim diameter plus two section heights.
    pub overall_diameter_mm: f64,
}

/// A tyre's sizes in mm from its metric code, such as `205/55R16`: overall diameter = rim inches·25.4 + 2·width·aspect ratio/100. All
/// magnitudes.
///
/// In front may stand `P`, `LT`, `ST` or `T`; the construction is `R`, `ZR`, `B` or `D`; behind the rim may stand `C` or `LT`, and after
/// a space the load index and speed symbol (`91V`, `112/110R`, `(99Y)`). Further markings behind those are not read. Spaces between the
/// parts and small letters do no harm.
///
/// # Errors
/// [`ErrorCode::NotATyreSize`]: `input` names the part that is wrong; for a number out of range with the figure and its bounds.
///
/// ```
/// # use alignment_core::tyre::size_from_code;
/// let tyre = size_from_code("P205/55 ZR16 91V")?;
/// assert_eq!((tyre.section_width_mm, tyre.aspect_ratio_percent, tyre.rim_diameter_mm), (205.0, 55.0, 406.4));
/// assert!((tyre.overall_diameter_mm - 631.9).abs() < 1e-9);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn size_from_code(code: &str) -> Result<TyreSize, Error> {
    let rest = code.trim();
    let (_, rest) = one_of(rest, &["P", "LT", "ST", "T"]);
    let (section_width_mm, rest) = number("section width", rest, [100.0, 500.0])?;
    let (slash, rest) = one_of(rest, &["/"]);
    let (aspect_ratio_percent, rest) = number("aspect ratio", rest, [20.0, 100.0])?;
    let (construction, rest) = one_of(rest, &["ZR", "R", "B", "D"]);
    if !(slash && construction) {
        return Err(wrong(if slash { "construction" } else { "aspect ratio" }));
    }
    let (whole_in, rest) = number("rim diameter", rest, [8.0, 30.0])?;
    let half = rest.strip_prefix(".5");
    let rim_diameter_in = if half.is_some() { whole_in + 0.5 } else { whole_in };
    check_behind(half.unwrap_or(rest))?;
    let rim_diameter_mm = rim_diameter_in * MM_PER_INCH;
    let section_height_mm = section_width_mm * aspect_ratio_percent / 100.0;
    Ok(TyreSize {
        section_width_mm,
        aspect_ratio_percent,
        rim_diameter_mm,
        section_height_mm,
        overall_diameter_mm: rim_diameter_mm + 2.0 * section_height_mm,
    })
}

const fn wrong(part: &'static str) -> Error {
    Error::new(ErrorCode::NotATyreSize).input(part)
}

/// Whether the text begins with one of the letters, whatever their case, and what follows them.
fn one_of<'a>(text: &'a str, choices: &[&str]) -> (bool, &'a str) {
    let text = text.trim_start();
    let rest = choices.iter().find_map(|choice| {
        let (head, rest) = text.split_at_checked(choice.len())?;
        head.eq_ignore_ascii_case(choice).then_some(rest)
    });
    (rest.is_some(), rest.unwrap_or(text))
}

/// The whole number with which the text begins, and what follows it directly.
fn number<'a>(part: &'static str, text: &'a str, range: [f64; 2]) -> Result<(f64, &'a str), Error> {
    let text = text.trim_start();
    let digits = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let (digits, rest) = text.split_at(digits);
    let value = digits.parse().map_err(|_| wrong(part))?;
    crate::session::check_range(ErrorCode::NotATyreSize, part, value, range).map_err(|error| match error.code {
        // So many digits that they overflow.
        ErrorCode::NotFinite => wrong(part),
        _ => error,
    })?;
    Ok((value, rest))
}

/// Checks what stands behind the rim diameter: at most a letter of use, and after a space the load index and speed symbol.
fn check_behind(rest: &str) -> Result<(), Error> {
    let mut words = rest.split_whitespace();
    let mut word = words.next();
    let joined = !rest.starts_with(char::is_whitespace);
    if word.is_some_and(|word| word.eq_ignore_ascii_case("C") || word.eq_ignore_ascii_case("LT")) {
        word = words.next();
    } else if joined && word.is_some() {
        return Err(wrong("rim diameter"));
    }
    match word {
        Some(word) if !is_service_description(word) => Err(wrong("load index")),
        _ => Ok(()),
    }
}

/// Load index (for single and twin tyres) and speed symbol: `91V`, `112/110R`, `(99Y)`.
fn is_service_description(word: &str) -> bool {
    let bare = word.strip_prefix('(').and_then(|word| word.strip_suffix(')')).unwrap_or(word);
    let digits = bare.trim_end_matches(|c: char| c.is_ascii_alphabetic());
    let index = |text: &str| (2..=3).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    bare.len() - digits.len() == 1 && digits.split('/').count() <= 2 && digits.split('/').all(index)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn a_size_is_read_however_it_is_written() {
        let plain = size_from_code("205/55R16").unwrap();
        assert!((plain.section_height_mm - 112.75).abs() < 1e-12);
        for code in [
            "P205/55R16",
            " 205/55 R16 91V",
            "205/55 R 16",
            "205/55ZR16",
            "205/55ZR16 (91Y)",
            "205 / 55 r 16",
            "lt205/55R16",
            "205/55R16C 112/110R",
            "205/55R16 LT",
            "205/55R16 94V XL",
        ] {
            assert_eq!(size_from_code(code), Ok(plain), "{code}");
        }
        assert!((size_from_code("245/70R19.5 136/134M").unwrap().rim_diameter_mm - 495.3).abs() < 1e-9);
        assert!((size_from_code("T125/70D16").unwrap().overall_diameter_mm - 581.4).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_size_is_refused_by_its_part() {
        for (code, part) in [
            ("", "section width"),
            ("205", "aspect ratio"),
            ("205-55R16", "aspect ratio"),
            ("X205/55R16", "section width"),
            ("31x10.5R15", "section width"),
            ("205.5/55R16", "aspect ratio"),
            ("205/55R16.4", "rim diameter"),
            ("205/R16", "aspect ratio"),
            ("205/55", "construction"),
            ("205/55Q16", "construction"),
            ("205/55R", "rim diameter"),
            ("205/55R16X", "rim diameter"),
            ("205/55R16 V91", "load index"),
            ("205/55R16 91/90/89V", "load index"),
            ("205/55R16 112/110RR", "load index"),
            ("205/55R16 5", "load index"),
            ("205/55R16 9V", "load index"),
            ("205/55R16 91VV", "load index"),
            ("205/55R16 Größe", "load index"),
            ("２０５/55R16", "section width"),
        ] {
            let error = size_from_code(code).unwrap_err();
            assert_eq!((error.code, error.input), (ErrorCode::NotATyreSize, Some(part)), "{code}");
        }
    }

    #[test]
    fn a_number_out_of_range_comes_with_its_bounds() {
        let error = size_from_code("205/55R91").unwrap_err();
        assert_eq!(
            error.to_string(),
            "rim diameter: the text is not a tyre size: 91, 8 to 30 allowed; write it as on the tyre, such as 205/55R16"
        );
        let huge = alloc::string::String::from_utf8(alloc::vec![b'9'; 400]).unwrap();
        assert_eq!(size_from_code(&huge).unwrap_err().code, ErrorCode::NotATyreSize);
    }
}
