//! The pages: what stands where, and how a number is written for people. The templates lay it out.

use super::picture::Picture;
use super::shown::{Markdown, Shown, escaped};
use super::{Identity, Measured, MeasuredReading, Record, StandParameter};
use crate::conformity::{Decision, Reason, Rule, Verdict};
use crate::error::Error;
use crate::layout::Wheel;
use crate::paths::READINGS;
use crate::session::{Centreline, Datum, Method, Reference, TurnWheel};
use crate::units::hypot;
use alloc::borrow::ToOwned;
use alloc::collections::{BTreeMap, BTreeSet};
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;
use askama::Template;
use askama::filters::Html;

/// A value with its expanded uncertainty.
type Worth = (Option<f64>, Option<f64>);

/// The verdict on one reading, in words and with a mark that is told apart without colour.
struct Judged {
    mark: &'static str,
    words: String,
    class: &'static str,
}

/// A verdict, or that there can be none.
struct Verdicted(Option<Judged>);

impl Verdicted {
    fn html(&self) -> String {
        match &self.0 {
            None => "<span class=\"verdict\">no limits given</span>".to_owned(),
            Some(Judged { mark, words, class }) => format!(
                "<span class=\"verdict {class}\"><span class=\"mark\" aria-hidden=\"true\">{mark}</span> {}</span>",
                escaped(Html, words)
            ),
        }
    }

    fn markdown(&self) -> String {
        match &self.0 {
            None => "no limits given".to_owned(),
            Some(Judged { mark, words, .. }) => format!("{mark} {}", escaped(Markdown, words)),
        }
    }
}

/// One reading at one time.
struct Cell {
    figure: String,
    judged: Verdicted,
}

struct Row {
    label: Shown,
    cells: Vec<Cell>,
    change: String,
    limits: Vec<String>,
}

struct Group {
    title: &'static str,
    rows: Vec<Row>,
}

/// The readings that were judged, or the others.
struct Part {
    title: &'static str,
    judged: bool,
    groups: Vec<Group>,
}

/// What is said of a measurement beside its readings.
struct State {
    name: &'static str,
    title: &'static str,
    overall: Verdicted,
    /// The readings that do not conform.
    beyond: Vec<Shown>,
    facts: Vec<(&'static str, Shown)>,
    warnings: Vec<Shown>,
}

struct Work {
    adjuster: Shown,
    wheel: &'static str,
    amount: Shown,
    note: Option<Shown>,
}

struct FileRow {
    name: Shown,
    media_type: Shown,
    length: u64,
    sha256: Shown,
}

struct StandRow {
    name: Shown,
    figure: String,
    limits: Option<String>,
    judged: Verdicted,
}

struct Stand {
    overall: Verdicted,
    facts: Vec<(&'static str, Shown)>,
    rows: Vec<StandRow>,
}

/// All that a page says.
struct Page {
    title: Shown,
    identity: Vec<(&'static str, Shown)>,
    states: Vec<State>,
    parts: Vec<Part>,
    picture: Picture,
    work: Vec<Work>,
    notes: Vec<Shown>,
    files: Vec<FileRow>,
    stand: Option<Stand>,
    conventions: Vec<(Shown, Shown)>,
    library: Shown,
    digest: String,
}

#[derive(Template)]
#[template(path = "record.html")]
struct HtmlPage {
    page: Page,
}

#[derive(Template)]
#[template(path = "record.md")]
struct MarkdownPage {
    page: Page,
}

impl Record {
    /// Makes a page of Markdown (CommonMark, with tables) from the record.
    ///
    /// Every text of the record is escaped: it cannot become markup, and a cell of a table stays a cell. Programs that link addresses of their own
    /// accord may still link one.
    ///
    /// # Errors
    /// [`ErrorCode::MissingInput`](crate::ErrorCode::MissingInput) when neither `before` nor `after` is there.
    ///
    /// ```
    /// # use alignment_core::record::{Identity, Measured, Record};
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let before = Some(Measured::of(&VirtualVehicle::default().session(), None)?);
    /// let record = Record { before, notes: vec!["**Not** bold.".into()], ..Record::new(Identity::default()) };
    /// assert!(record.to_markdown()?.contains(r"\*\*Not\*\* bold\."));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn to_markdown(&self) -> Result<String, Error> {
        Ok(rendered(&MarkdownPage { page: Page::of(self)? }))
    }

    /// Makes a page of HTML from the record: one file without scripts or anything from outside, with a plan view, which prints on A4 and on
    /// Letter.
    ///
    /// # Errors
    /// [`ErrorCode::MissingInput`](crate::ErrorCode::MissingInput) when neither `before` nor `after` is there.
    ///
    /// ```
    /// # use alignment_core::record::{Identity, Measured, Record};
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let before = Some(Measured::of(&VirtualVehicle::default().session(), None)?);
    /// let record = Record { before, notes: vec!["<b>".into()], ..Record::new(Identity::default()) };
    /// let page = record.to_html()?;
    /// assert!(page.contains("&#60;b&#62;") && !page.contains("<script"));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn to_html(&self) -> Result<String, Error> {
        Ok(rendered(&HtmlPage { page: Page::of(self)? }))
    }
}

fn rendered(page: &impl Template) -> String {
    page.render().unwrap_or_else(|error| unreachable!("writing to a string cannot fail: {error}"))
}

impl Page {
    fn of(record: &Record) -> Result<Self, Error> {
        let digest = super::text::digest_of(&record.to_json()?).to_owned();
        let states: Vec<(&'static str, &Measured)> = [("before", &record.before), ("after", &record.after)]
            .into_iter()
            .filter_map(|(name, state)| Some((name, state.as_ref()?)))
            .collect();
        let library = &record.library;
        let title = match &record.identity.record_id {
            Some(id) => Shown::of(&format!("Wheel alignment record {id}")),
            None => Shown::of("Wheel alignment record"),
        };
        Ok(Self {
            title,
            identity: identity(&record.identity),
            states: states.iter().map(|&(name, measured)| state(name, measured)).collect(),
            parts: parts(&states),
            picture: Picture::of(&states),
            work: record
                .adjustments
                .iter()
                .map(|done| Work {
                    adjuster: Shown::of(&done.adjuster),
                    wheel: done.wheel.map_or("more than one, or none named", wheel_name),
                    amount: amount(done.amount, done.unit.as_deref()),
                    note: done.note.as_deref().map(Shown::of),
                })
                .collect(),
            notes: record.notes.iter().map(|note| Shown::of(note)).collect(),
            files: record
                .attachments
                .iter()
                .map(|file| FileRow {
                    name: Shown::of(&file.name),
                    media_type: Shown::of(&file.media_type),
                    length: file.length_bytes,
                    sha256: Shown::of(&file.sha256),
                })
                .collect(),
            stand: record.stand.as_ref().map(|stand| Stand {
                overall: Verdicted(stand.overall.map(|verdict| judged(verdict, None))),
                facts: [
                    ("Procedure", stand.procedure.as_deref().map(Shown::of)),
                    ("Set up to", stand.line.as_deref().map(Shown::of)),
                    ("Distances from", stand.reference_point.as_deref().map(Shown::of)),
                    (
                        "Ground, against the datum",
                        stand.ground_tilt_deg.map(|tilt| Shown::of(&angle((Some(tilt), None)))),
                    ),
                    (
                        "Ground, from one plane",
                        stand.ground_residual_mm.map(|off| Shown::of(&length((Some(off), None)))),
                    ),
                ]
                .into_iter()
                .filter_map(|(name, fact)| Some((name, fact?)))
                .collect(),
                rows: stand.parameters.iter().map(stand_row).collect(),
            }),
            conventions: record
                .conventions
                .iter()
                .map(|convention| (Shown::of(&convention.name), Shown::of(&convention.meaning)))
                .collect(),
            library: Shown::of(&format!("{} {}", library.name, library.version)),
            digest,
        })
    }
}

fn identity(identity: &Identity) -> Vec<(&'static str, Shown)> {
    let Identity {
        record_id,
        date,
        vehicle,
        registration,
        chassis_number,
        odometer,
        customer,
        workshop,
        operator,
        equipment,
    } = identity;
    [
        ("Record", record_id),
        ("Date", date),
        ("Vehicle", vehicle),
        ("Registration", registration),
        ("Chassis number", chassis_number),
        ("Odometer", odometer),
        ("Customer", customer),
        ("Workshop", workshop),
        ("Operator", operator),
        ("Equipment", equipment),
    ]
    .into_iter()
    .filter_map(|(name, text)| Some((name, Shown::of(text.as_deref()?))))
    .collect()
}

pub(super) fn wheel_name(wheel: Wheel) -> &'static str {
    match wheel {
        Wheel::Fl => "Left front",
        Wheel::Fr => "Right front",
        Wheel::Rl => "Left rear",
        Wheel::Rr => "Right rear",
    }
}

fn state(name: &'static str, measured: &Measured) -> State {
    let mut facts = Vec::new();
    let method = match measured.method {
        Method::Staged => "stage by stage",
        Method::Joint => "by one fit of a rigid car",
    };
    facts.push(("Estimated", Shown::of(method)));
    if let Some(Reference { centreline, datum, turn }) = measured.reference {
        let datum = match datum {
            Datum::Up => "the session's up direction",
            Datum::WheelPlane => "the plane on which the wheels stand",
            Datum::Runway => "the runway, through its measured points",
        };
        let centreline = match centreline {
            Centreline::AxleMidpoints => "through the midpoints of the axles",
            Centreline::SideLineBisector => "bisector of the left and right side lines",
        };
        let wheel = match turn.wheel {
            TurnWheel::Inner => "inner",
            TurnWheel::Outer => "outer",
        };
        facts.push(("Datum", Shown::of(datum)));
        facts.push(("Centreline", Shown::of(centreline)));
        facts.push((
            "Toe-out on turns",
            Shown::of(&format!("{wheel} wheel at {}", angle((Some(turn.angle_deg), None)))),
        ));
    }
    if let Some(note) = &measured.specification_note {
        facts.push(("Limits", Shown::of(note)));
    }
    if let Some(load) = &measured.load_state {
        facts.push(("Load for which they hold", Shown::of(load)));
    }
    if let Some(decision) = measured.decision {
        facts.push(("Rule of decision", Shown::of(&rule(decision))));
    }
    let worth = match measured.coverage_probability.filter(|probability| probability.is_finite()) {
        Some(probability) => {
            format!(
                "± is the expanded uncertainty: it holds the true value with a probability of {}.",
                percent(probability)
            )
        }
        None => "what the readings are worth is not known".to_owned(),
    };
    facts.push(("Uncertainty", Shown::of(&worth)));
    facts.push(("SHA-256 of the session", Shown::of(&measured.inputs_sha256)));
    State {
        name,
        title: if name == "before" { "Before" } else { "After" },
        overall: Verdicted(measured.overall.map(|verdict| judged(verdict, None))),
        beyond: measured
            .readings
            .iter()
            .filter(|reading| reading.verdict == Some(Verdict::DoesNotConform))
            .map(named)
            .collect(),
        facts,
        warnings: measured.warnings.iter().map(|warning| Shown::of(&warning.message)).collect(),
    }
}

/// A reading by its name, in a sentence.
fn named(reading: &MeasuredReading) -> Shown {
    let name = place(&reading.path).map(|(group, name)| format!("{group}: {name}"));
    Shown::of(&name.unwrap_or_else(|| reading.path.clone()))
}

fn rule(decision: Decision) -> String {
    match decision.rule {
        Rule::Guarded => format!(
            "guarded: a reading conforms, or does not, when that is at least {} sure; without an uncertainty it is judged as it stands",
            percent(decision.probability)
        ),
        Rule::SimpleAcceptance => "simple acceptance: a reading within its limits conforms".to_owned(),
    }
}

fn judged(verdict: Verdict, why: Option<&str>) -> Judged {
    let (mark, words, class) = match verdict {
        Verdict::Conforms => ("✓", "conforms", "good"),
        Verdict::DoesNotConform => ("✗", "does not conform", "bad"),
        Verdict::Undetermined => ("?", "undetermined", "open"),
    };
    let why = why.map(|why| format!(", {why}")).unwrap_or_default();
    Judged { mark, words: format!("{words}{why}"), class }
}

fn why(reason: Option<Reason>) -> Option<&'static str> {
    reason.map(|reason| match reason {
        Reason::NotMeasured => "not measured",
        Reason::NearLimit => "too near a limit",
        Reason::TooUncertain => "too uncertain for these limits",
    })
}

/// A probability in words, rounded down: nothing is quite sure.
fn percent(probability: f64) -> String {
    match probability {
        p if !(0.0..=1.0).contains(&p) => "(out of range)".to_owned(),
        p if p > 0.999 => "over 99.9\u{a0}%".to_owned(),
        p if p < 0.001 => "under 0.1\u{a0}%".to_owned(),
        p => format!("{}\u{a0}%", libm::floor(1000.0 * p + 1e-9) / 10.0),
    }
}

/// Where a reading stands on the page, and what it is called there. None for a component of a vector, which stands in the record alone.
fn place(path: &str) -> Option<(&'static str, &'static str)> {
    const GROUPS: [(&str, &str); 14] = [
        ("wheels.fl.", "Left front wheel"),
        ("wheels.fr.", "Right front wheel"),
        ("wheels.rl.", "Left rear wheel"),
        ("wheels.rr.", "Right rear wheel"),
        ("axles.front.", "Front axle"),
        ("axles.rear.", "Rear axle"),
        ("chassis.", "Chassis"),
        ("steering.left.", "Steering axis, left"),
        ("steering.right.", "Steering axis, right"),
        ("steering.", "Steering"),
        ("turns.left_turn.", "Left turn"),
        ("turns.right_turn.", "Right turn"),
        ("turns.lock_left.", "Full lock to the left"),
        ("turns.lock_right.", "Full lock to the right"),
    ];
    const NAMES: [(&str, &str); 41] = [
        ("camber_deg", "Camber"),
        ("toe_deg", "Toe"),
        ("toe_to_centreline_deg", "Toe to the centreline"),
        ("runout_deg", "Runout of the clamp"),
        ("rolling_radius_mm", "Rolling radius"),
        ("total_toe_deg", "Total toe"),
        ("cross_camber_deg", "Camber, left minus right"),
        ("track_mm", "Track at the wheel centres"),
        ("track_at_ground_mm", "Track at the ground"),
        ("setback_deg", "Setback, as an angle"),
        ("setback_mm", "Setback"),
        ("thrust_angle_deg", "Thrust angle"),
        ("wheelbase_left_mm", "Wheelbase, left"),
        ("wheelbase_right_mm", "Wheelbase, right"),
        ("wheelbase_difference_mm", "Wheelbase, left minus right"),
        ("diagonal_fl_rr_mm", "Diagonal, left front to right rear"),
        ("diagonal_fr_rl_mm", "Diagonal, right front to left rear"),
        ("diagonal_difference_mm", "Diagonals, first minus second"),
        ("track_difference_mm", "Track, front minus rear"),
        ("axle_offset_mm", "Axle offset"),
        ("caster_deg", "Caster"),
        ("sai_deg", "SAI"),
        ("included_angle_deg", "Included angle"),
        ("caster_trail_mm", "Caster trail"),
        ("scrub_radius_mm", "Scrub radius"),
        ("caster_trail_in_wheel_plane_mm", "Caster trail in the wheel plane"),
        ("scrub_radius_in_wheel_plane_mm", "Scrub radius in the wheel plane"),
        ("caster_to_body_deg", "Caster to the body"),
        ("sai_to_body_deg", "SAI to the body"),
        ("residual_deg", "Misfit of one fixed axis, angle"),
        ("residual_mm", "Misfit of one fixed axis, length"),
        ("ahead_error_deg", "From straight ahead, when measured"),
        ("cross_caster_deg", "Caster, left minus right"),
        ("cross_sai_deg", "SAI, left minus right"),
        ("sweep_range_deg", "Sweep from end to end"),
        ("inner_deg", "Inner wheel"),
        ("outer_deg", "Outer wheel"),
        ("toe_out_deg", "Toe-out on turns"),
        ("ackermann_deg", "Ideal by Ackermann"),
        ("left_deg", "Left wheel"),
        ("right_deg", "Right wheel"),
    ];
    let &(start, group) = GROUPS.iter().find(|(start, _)| path.starts_with(start))?;
    let &(_, name) = NAMES.iter().find(|(name, _)| *name == &path[start.len()..])?;
    Some((group, name))
}

/// The readings: first those that were judged, which people look for, then the others. In groups, those first of which the library knows the place.
fn parts(states: &[(&'static str, &Measured)]) -> Vec<Part> {
    const OTHERS: &str = "Other readings";
    let mut parts = [("Readings with limits", true), ("Readings without limits", false)].map(|(title, judged)| Part {
        title,
        judged,
        groups: Vec::new(),
    });
    let mut add = |title: &'static str, row: Row| {
        let judged = row.cells.iter().any(|cell| cell.judged.0.is_some());
        let groups = &mut parts[usize::from(!judged)].groups;
        match groups.last_mut() {
            Some(group) if group.title == title => group.rows.push(row),
            _ => groups.push(Group { title, rows: alloc::vec![row] }),
        }
    };
    let by_path = states.iter().map(|(_, measured)| {
        let mut by_path: BTreeMap<&str, Vec<&MeasuredReading>> = BTreeMap::new();
        for reading in &measured.readings {
            by_path.entry(&reading.path).or_default().push(reading);
        }
        by_path
    });
    let by_path: Vec<_> = by_path.collect();
    // A reading that is given again is told again: none may hide behind another.
    let mut add_all = |group: &'static str, path: &str, name: &str| {
        let times = by_path.iter().filter_map(|readings| Some(readings.get(path)?.len())).max().unwrap_or(0);
        for time in 0..times {
            let given = by_path.iter().map(|readings| readings.get(path)?.get(time).copied());
            let label = Shown::of(&if time == 0 { name.to_owned() } else { format!("{name} (given again)") });
            if let Some(row) = row(&given.collect::<Vec<_>>(), label) {
                add(group, row);
            }
        }
    };
    for path in READINGS {
        if let Some((group, name)) = place(path) {
            add_all(group, path, name);
        }
    }
    let mut told = BTreeSet::from(READINGS);
    for MeasuredReading { path, .. } in states.iter().flat_map(|(_, measured)| &measured.readings) {
        if told.insert(path.as_str()) {
            add_all(OTHERS, path, path);
        }
    }
    parts.into_iter().filter(|part| !part.groups.is_empty()).collect()
}

/// The row of one reading; None when it was neither measured nor asked for.
fn row(readings: &[Option<&MeasuredReading>], label: Shown) -> Option<Row> {
    let worth_telling = |reading: &&MeasuredReading| reading.value.is_some() || reading.verdict.is_some();
    let first = readings.iter().flatten().find(|reading| worth_telling(reading))?;
    let unit = first.unit.clone();
    let cell = |reading: Option<&MeasuredReading>| match reading {
        None => Cell { figure: ABSENT.to_owned(), judged: Verdicted(None) },
        Some(reading) => Cell {
            figure: figure((reading.value, reading.expanded_uncertainty), &reading.unit),
            judged: Verdicted(reading.verdict.map(|verdict| {
                let mut judged = judged(verdict, why(reading.reason));
                let told = |p: &f64| (0.0..=1.0).contains(p);
                let sure = reading.risk_of_wrong_verdict.filter(told).map(|risk| 1.0 - risk);
                if let (Some(sure), true) = (sure, verdict != Verdict::Undetermined) {
                    judged.words = format!("{}, {} sure", judged.words, percent(sure));
                } else if let Some(probability) = reading.probability_of_conformity.filter(told) {
                    judged.words = format!("{}; {} likely to be within", judged.words, percent(probability));
                }
                judged
            })),
        },
    };
    let change = match readings {
        [Some(before), Some(after)] if before.unit == after.unit => {
            let both = before.value.zip(after.value).map(|(before, after)| after - before);
            let uncertainty = before.expanded_uncertainty.zip(after.expanded_uncertainty);
            let change = figure((both, uncertainty.map(|(before, after)| hypot(before, after))), &unit);
            // What rounds to zero has no sign.
            let number = change.split([' ', '°']).next().unwrap_or_default();
            let positive =
                number.starts_with(|c: char| c.is_ascii_digit()) && number.contains(|c| ('1'..='9').contains(&c));
            if positive { format!("+{change}") } else { change }
        }
        _ => ABSENT.to_owned(),
    };
    let mut limits: Vec<String> = Vec::new();
    for reading in readings.iter().flatten() {
        let told = limits_told(reading.min, reading.max, reading.nominal, &reading.unit);
        if let Some(told) = told
            && !limits.contains(&told)
        {
            limits.push(told);
        }
    }
    // Where they were judged by different limits, each says which.
    if let [before, after] = limits.as_mut_slice() {
        before.insert_str(0, "before: ");
        after.insert_str(0, "after: ");
    }
    Some(Row { label, cells: readings.iter().copied().map(cell).collect(), change, limits })
}

fn stand_row(parameter: &StandParameter) -> StandRow {
    let unit = match parameter.name.rsplit_once('_') {
        Some((_, unit @ ("deg" | "mm"))) => unit,
        _ => "1",
    };
    let name = match parameter.name.as_str() {
        "distance_mm" => "Distance",
        "lateral_offset_mm" => "Offset to the side",
        "height_mm" => "Height",
        "yaw_deg" => "Yaw",
        "pitch_deg" => "Pitch",
        "roll_deg" => "Roll",
        other => other,
    };
    StandRow {
        name: Shown::of(name),
        figure: figure((parameter.value, parameter.expanded_uncertainty), unit),
        limits: limits_told(parameter.min, parameter.max, parameter.nominal, unit),
        judged: Verdicted(parameter.verdict.map(|verdict| judged(verdict, why(parameter.reason)))),
    }
}

const ABSENT: &str = "not measured";
/// Numbers beyond are no reading of a car, and too long for a page.
const TOO_LARGE: f64 = 1e7;

/// An angle in degrees, with what it may be off by.
pub(super) fn angle(worth: Worth) -> String {
    figure(worth, "deg")
}

/// A length in mm, with what it may be off by.
pub(super) fn length(worth: Worth) -> String {
    figure(worth, "mm")
}

/// How many digits stand behind the point, and what stands behind the number.
fn style(unit: &str) -> (usize, String) {
    match unit {
        "deg" => (2, "°".to_owned()),
        "mm" => (1, " mm".to_owned()),
        "1" => (4, " (no unit)".to_owned()),
        other => (3, format!(" {}", Shown::of(other).plain())),
    }
}

fn per_unit(digits: usize) -> f64 {
    [1.0, 10.0, 100.0, 1e3, 1e4][digits]
}

/// A number with a true minus sign, and none on what rounds to zero.
fn rounded(value: f64, digits: usize) -> String {
    let value = if libm::round(value * per_unit(digits)) == 0.0 { 0.0 } else { value };
    format!("{value:.digits$}").replace('-', "−")
}

/// A reading with its uncertainty and unit. The uncertainty is rounded up: it must not look smaller than it is.
fn figure((value, uncertainty): Worth, unit: &str) -> String {
    let (digits, unit) = style(unit);
    let Some(value) = value.filter(|value| value.is_finite()) else { return ABSENT.to_owned() };
    if value.abs() >= TOO_LARGE {
        return format!("beyond {}{unit}", rounded(TOO_LARGE.copysign(value), 0));
    }
    match uncertainty.filter(|uncertainty| *uncertainty > 0.0) {
        // What is worth nothing must not look like what is simply known.
        Some(uncertainty) if uncertainty >= TOO_LARGE => {
            format!("{} ± beyond {}{unit}", rounded(value, digits), rounded(TOO_LARGE, 0))
        }
        Some(uncertainty) => {
            let up = libm::ceil(uncertainty * per_unit(digits) - 1e-9) / per_unit(digits);
            format!("{} ± {}{unit}", rounded(value, digits), rounded(up, digits))
        }
        None => format!("{}{unit}", rounded(value, digits)),
    }
}

/// Limits in words, with one digit more than a reading where they have it: a limit must not look met or missed by rounding.
fn limits_told(min: Option<f64>, max: Option<f64>, nominal: Option<f64>, unit: &str) -> Option<String> {
    let (digits, unit) = style(unit);
    let told = |value: f64| {
        let per_unit = per_unit(digits);
        let finer = (value - libm::round(value * per_unit) / per_unit).abs() > 1e-9;
        if value.abs() >= TOO_LARGE {
            "beyond 10000000".to_owned()
        } else {
            rounded(value, digits + usize::from(finer && digits < 4))
        }
    };
    let [min, max, nominal] = [min, max, nominal].map(|limit| limit.filter(|limit| limit.is_finite()));
    let limits = match (min, max) {
        (Some(min), Some(max)) => format!("{} to {}{unit}", told(min), told(max)),
        (Some(min), None) => format!("at least {}{unit}", told(min)),
        (None, Some(max)) => format!("at most {}{unit}", told(max)),
        (None, None) => return None,
    };
    Some(match nominal {
        Some(nominal) => format!("{limits}, aim {}{unit}", told(nominal)),
        None => limits,
    })
}

/// How much of an adjuster, in its own unit, which is the caller's word.
fn amount(amount: Option<f64>, unit: Option<&str>) -> Shown {
    let unit = unit.unwrap_or("(no unit given)");
    match amount.filter(|amount| amount.abs() < TOO_LARGE) {
        None => Shown::of("amount not given"),
        Some(amount) => {
            let sign = if amount > 0.0 { "+" } else { "" };
            Shown::of(&format!("{sign}{} {unit}", rounded(amount, 2)))
        }
    }
}

/// For the templates.
impl Page {
    /// Whether there is a change to tell.
    fn both(&self) -> bool {
        self.states.len() == 2
    }

    /// How many columns the readings of a part have.
    fn columns(&self, part: &Part) -> usize {
        1 + self.states.len() + usize::from(self.both()) + usize::from(part.judged)
    }

    fn zeros(&self) -> String {
        "0".repeat(self.digest.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_their_unit_and_no_false_sign() {
        assert_eq!(angle((Some(-0.412), Some(0.0171))), "−0.41 ± 0.02°");
        assert_eq!(angle((Some(-0.001), None)), "0.00°");
        assert_eq!(length((Some(11.55), Some(0.4))), "11.6 ± 0.4 mm");
        assert_eq!(angle((Some(-0.41), Some(1e8))), "−0.41 ± beyond 10000000°");
        assert_eq!(angle((None, Some(1.0))), ABSENT);
        assert_eq!(angle((Some(f64::NAN), None)), ABSENT);
        assert_eq!(length((Some(-1e300), None)), "beyond −10000000 mm");
        assert_eq!(limits_told(Some(-1.2), Some(0.125), Some(0.0), "deg").unwrap(), "−1.20 to 0.125°, aim 0.00°");
        assert_eq!(limits_told(None, Some(f64::INFINITY), None, "deg"), None);
        assert_eq!(percent(0.95), "95\u{a0}%");
        assert_eq!(
            [percent(1.0), percent(0.0), percent(f64::NAN)],
            ["over 99.9\u{a0}%", "under 0.1\u{a0}%", "(out of range)"]
        );
    }

    #[test]
    fn every_reading_has_its_place_or_is_part_of_a_vector() {
        for path in READINGS {
            assert_eq!(place(path).is_none(), path.ends_with(']'), "{path}");
        }
    }
}
