//! Reads a session, measures the car and prints the report: for a person, or as JSON.
//!
//! `cargo run --release --example align` measures the demo session; `-- SESSION.json` one of your own.

use alignment_core::conformity::{Limits, Reason, Rule, Specification, Verdict, Verdicts, judge_all};
use alignment_core::joint::{Fit, PoseFit};
use alignment_core::json::{
    assessment_schema, assessment_to_json, record_schema, session_from_json, session_schema, specification_from_json,
    specification_schema,
};
use alignment_core::record::{Identity, Measured, Record};
use alignment_core::session::{Centreline, Datum, Method, Session, TurnWheel};
use alignment_core::steering::{SteeringAxisReadings, SteeringReadings};
use alignment_core::turns::{LockReadings, TurnReadings};
use alignment_core::units::degrees_minutes_from_deg;
use alignment_core::vehicle::{AxleReadings, ChassisReadings};
use alignment_core::wheel::WheelReadings;
use alignment_core::{Alignment, Assessment, Wheel, assess};
use clap::{Parser, ValueEnum};
use std::fmt::{self, Display, Write as _};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

const DEMO: &str = include_str!("pulling-car.json");

/// Measure a car from the target poses of one session.
#[derive(Parser)]
struct Arguments {
    /// The session, JSON of format "alignment-session/1"; the demo session when left out
    session: Option<PathBuf>,
    /// Judge the readings by a specification, JSON of format "alignment-specification/1"
    #[arg(long, value_name = "FILE")]
    spec: Option<PathBuf>,
    /// How to estimate the readings; as the session says when left out
    #[arg(long, value_enum)]
    method: Option<Estimate>,
    /// Print the result as JSON at full precision
    #[arg(long)]
    json: bool,
    /// Print angles in degrees and minutes
    #[arg(long, conflicts_with = "json")]
    minutes: bool,
    /// Write a record of the work as well: JSON of format "alignment-record/1", or a page of it, by the name's end .json, .html or .md
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// For the record: the session before the work; the other one is then that after it
    #[arg(long, value_name = "FILE", requires = "record")]
    before: Option<PathBuf>,
    /// For the record: identity, adjustments, notes, attachments and stand as they stand in a record, JSON
    #[arg(long, value_name = "FILE", requires = "record")]
    details: Option<PathBuf>,
    /// Print the JSON Schema of a session and stop
    #[arg(long, conflicts_with_all = ["session", "spec", "method", "json", "minutes", "record", "result_schema", "spec_schema", "record_schema"])]
    schema: bool,
    /// Print the JSON Schema of a specification and stop
    #[arg(long, conflicts_with_all = ["session", "spec", "method", "json", "minutes", "record", "result_schema", "record_schema"])]
    spec_schema: bool,
    /// Print the JSON Schema of a result and stop
    #[arg(long, conflicts_with_all = ["session", "spec", "method", "json", "minutes", "record", "record_schema"])]
    result_schema: bool,
    /// Print the JSON Schema of a record and stop
    #[arg(long, conflicts_with_all = ["session", "spec", "method", "json", "minutes", "record"])]
    record_schema: bool,
}

#[derive(Clone, Copy, ValueEnum)]
enum Estimate {
    /// Stage by stage
    Staged,
    /// All stages at once, by one fit of a rigid car
    Joint,
}

impl From<Estimate> for Method {
    fn from(estimate: Estimate) -> Self {
        match estimate {
            Estimate::Staged => Self::Staged,
            Estimate::Joint => Self::Joint,
        }
    }
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let text = match run(&arguments) {
        Ok(text) => text,
        Err(sentence) => {
            eprintln!("{sentence}");
            return ExitCode::from(2);
        }
    };
    match writeln!(io::stdout(), "{}", text.trim_end()) {
        // A reader that has seen enough closes the pipe; that is no failure.
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            eprintln!("cannot write the report: {error}");
            ExitCode::FAILURE
        }
        _ => ExitCode::SUCCESS,
    }
}

fn run(arguments: &Arguments) -> Result<String, String> {
    if arguments.schema {
        return Ok(session_schema().to_string());
    }
    if arguments.result_schema {
        return Ok(assessment_schema().to_string());
    }
    if arguments.spec_schema {
        return Ok(specification_schema().to_string());
    }
    if arguments.record_schema {
        return Ok(record_schema().to_string());
    }
    let (name, text) = match &arguments.session {
        None => ("the demo session".to_owned(), DEMO.to_owned()),
        Some(path) => read(path)?,
    };
    let read_session = |name: &str, text: &str| {
        let mut session = session_from_json(text).map_err(|error| format!("{name}: {error}"))?;
        session.method = arguments.method.map_or(session.method, Method::from);
        Ok::<_, String>(session)
    };
    let session = read_session(&name, &text)?;
    let specification = arguments.spec.as_ref().map(|path| {
        let (name, text) = read(path)?;
        let specification = specification_from_json(&text).map_err(|error| format!("{name}: {error}"))?;
        // A rule that cannot be is no fault of the session.
        judge_all(&Alignment::default(), None, None, &specification).map_err(|error| format!("{name}: {error}"))?;
        Ok::<_, String>(specification)
    });
    let specification = specification.transpose()?;
    let result = assess(&session, specification.as_ref()).map_err(|error| format!("{name}: {error}"))?;
    if let Some(file) = &arguments.record {
        let inputs = [&arguments.session, &arguments.before, &arguments.spec, &arguments.details];
        spared(file, inputs.into_iter().flatten())?;
        let measured = |name: &str, session: &Session| {
            Measured::of(session, specification.as_ref()).map_err(|error| format!("{name}: {error}"))
        };
        let mut record = match &arguments.details {
            None => Record::new(Identity::default()),
            Some(path) => {
                let (name, text) = read(path)?;
                Record::from_details(&text).map_err(|error| format!("{name}: {error}"))?
            }
        };
        match &arguments.before {
            None => record.before = Some(measured(&name, &session)?),
            Some(path) => {
                let (before_name, text) = read(path)?;
                record.before = Some(measured(&before_name, &read_session(&before_name, &text)?)?);
                record.after = Some(measured(&name, &session)?);
            }
        }
        write_record(&record, file)?;
    }
    Ok(if arguments.json {
        assessment_to_json(&result)
    } else {
        let specification = specification.as_ref();
        let minutes = arguments.minutes;
        Report { name: &name, session: &session, specification, result: &result, minutes }.to_string()
    })
}

/// Refuses to write over a file that was read.
fn spared<'a>(file: &Path, mut inputs: impl Iterator<Item = &'a PathBuf>) -> Result<(), String> {
    let same = |input: &PathBuf| input.canonicalize().ok().is_some_and(|input| file.canonicalize().ok() == Some(input));
    match inputs.find(|input| same(input)) {
        Some(_) => {
            Err(format!("{}: this file was read, and the record would replace it; name another", file.display()))
        }
        None => Ok(()),
    }
}

/// Writes a record, or a page of it, by the end of the file's name.
fn write_record(record: &Record, file: &Path) -> Result<(), String> {
    let name = file.display();
    let text = match file.extension().and_then(|extension| extension.to_str()) {
        Some("json") => record.to_json(),
        Some("html") => record.to_html(),
        Some("md") => record.to_markdown(),
        _ => return Err(format!("{name}: a record is written as .json, .html or .md; name the file so")),
    };
    let text = text.map_err(|error| error.to_string())?;
    std::fs::write(file, text).map_err(|error| format!("{name}: {error}"))
}

/// The name of a file for a person, and its text.
fn read(path: &Path) -> Result<(String, String), String> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|error| format!("{name}: {error}"))?;
    let text = String::from_utf8(bytes)
        .map_err(|error| format!("{name}: the text is not UTF-8 (byte {})", error.utf8_error().valid_up_to()))?;
    Ok((name, text))
}

/// A report for a person.
struct Report<'a> {
    name: &'a str,
    session: &'a Session,
    specification: Option<&'a Specification>,
    result: &'a Assessment,
    minutes: bool,
}

/// A reading in the tree.
type Pick<'a> = &'a dyn Fn(&Alignment) -> Option<f64>;

impl Report<'_> {
    /// An angle, with what it may be off by: 0.01°, or degrees and minutes. A dash where it is absent.
    fn angle(&self, pick: Pick<'_>) -> String {
        self.worth(pick, if self.minutes { Style::Minutes } else { Style::Degrees })
    }

    /// A length in mm to 0.1, with what it may be off by.
    fn length(&self, pick: Pick<'_>) -> String {
        self.worth(pick, Style::Millimetres)
    }

    fn worth(&self, pick: Pick<'_>, style: Style) -> String {
        let value = pick(&self.result.measurement.alignment);
        match self.result.expanded_uncertainty.as_ref().and_then(pick) {
            Some(expanded) if expanded > 0.0 => format!("{} ± {}", style.reading(value), style.expanded(expanded)),
            _ => style.alone(value),
        }
    }

    fn table(f: &mut fmt::Formatter<'_>, title: &str, heads: &[&str], rows: &[(&str, Vec<String>)]) -> fmt::Result {
        let mut line = format!("{title:<34}");
        for head in heads {
            write!(line, "{head:>17}")?;
        }
        writeln!(f, "\n{}\n{}", line.trim_end(), "-".repeat(line.chars().count()))?;
        for (name, cells) in rows {
            let mut line = format!("{name:<34}");
            for cell in cells {
                write!(line, "{cell:>17}")?;
            }
            writeln!(f, "{}", line.trim_end())?;
        }
        Ok(())
    }

    fn header(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Wheel alignment: {}", self.name)?;
        if let Some(note) = &self.session.note {
            writeln!(f, "{}", folded(&plain(note)))?;
        }
        let reference = &self.result.measurement.reference;
        let datum = match reference.datum {
            Datum::Up => "the session's up direction",
            Datum::WheelPlane => "the plane on which the wheels stand",
            Datum::Runway => "the runway, through its measured points",
        };
        let centreline = match reference.centreline {
            Centreline::AxleMidpoints => "through the midpoints of the axles",
            Centreline::SideLineBisector => "bisector of the left and right side lines",
        };
        let angles = if self.minutes { "degrees and minutes" } else { "degrees" };
        writeln!(f, "Angles in {angles}, lengths in mm. Datum: {datum}. Centreline: {centreline}.")?;
        match &self.result.measurement.fit {
            None => writeln!(f, "Estimated stage by stage."),
            Some(fit) => writeln!(f, "Estimated by one fit of a rigid car: {}.", in_short(fit)),
        }
    }

    fn wheels(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        type OfWheel = fn(&WheelReadings) -> Option<f64>;
        let angles = |pick: OfWheel| Wheel::ALL.map(|w| self.angle(&|tree| pick(tree.wheels.get(w)))).to_vec();
        let lengths = |pick: OfWheel| Wheel::ALL.map(|w| self.length(&|tree| pick(tree.wheels.get(w)))).to_vec();
        Self::table(
            f,
            "Wheels",
            &["fl", "fr", "rl", "rr"],
            &[
                ("Camber, + top outward", angles(|wheel| wheel.camber_deg)),
                ("Toe (1), + toe-in", angles(|wheel| wheel.toe_deg)),
                ("Toe to the centreline", angles(|wheel| wheel.toe_to_centreline_deg)),
                ("Rolling radius", lengths(|wheel| wheel.rolling_radius_mm)),
                ("Runout of the clamp", angles(|wheel| wheel.runout_deg)),
            ],
        )?;
        writeln!(f, "(1) front: to the thrust line; rear: to the centreline")
    }

    fn axles_and_chassis(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        type OfAxle = fn(&AxleReadings) -> Option<f64>;
        let angles = |pick: OfAxle| {
            vec![self.angle(&|tree| pick(&tree.axles.front)), self.angle(&|tree| pick(&tree.axles.rear))]
        };
        let lengths = |pick: OfAxle| {
            vec![self.length(&|tree| pick(&tree.axles.front)), self.length(&|tree| pick(&tree.axles.rear))]
        };
        Self::table(
            f,
            "Axles",
            &["front", "rear"],
            &[
                ("Total toe", angles(|axle| axle.total_toe_deg)),
                ("Camber, left minus right", angles(|axle| axle.cross_camber_deg)),
                ("Setback, + right further rearward", angles(|axle| axle.setback_deg)),
                ("Setback", lengths(|axle| axle.setback_mm)),
                ("Track at the wheel centres", lengths(|axle| axle.track_mm)),
                ("Track at the ground", lengths(|axle| axle.track_at_ground_mm)),
            ],
        )?;
        let length = |pick: fn(&ChassisReadings) -> Option<f64>| vec![self.length(&|tree| pick(&tree.chassis))];
        Self::table(
            f,
            "Chassis",
            &[""],
            &[
                ("Thrust angle, + to the right", vec![self.angle(&|tree| tree.chassis.thrust_angle_deg)]),
                ("Wheelbase, left", length(|chassis| chassis.wheelbase_left_mm)),
                ("Wheelbase, right", length(|chassis| chassis.wheelbase_right_mm)),
                ("Wheelbase, left minus right", length(|chassis| chassis.wheelbase_difference_mm)),
                ("Diagonal fl to rr", length(|chassis| chassis.diagonal_fl_rr_mm)),
                ("Diagonal fr to rl", length(|chassis| chassis.diagonal_fr_rl_mm)),
                ("Diagonals, difference", length(|chassis| chassis.diagonal_difference_mm)),
                ("Track, front minus rear", length(|chassis| chassis.track_difference_mm)),
                ("Axle offset, rear + to the left", length(|chassis| chassis.axle_offset_mm)),
            ],
        )
    }

    fn steering(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        type OfSide = fn(&SteeringAxisReadings) -> Option<f64>;
        let angles = |pick: OfSide| {
            vec![self.angle(&|tree| pick(&tree.steering.left)), self.angle(&|tree| pick(&tree.steering.right))]
        };
        let crossed = |pick: OfSide, cross: fn(&SteeringReadings) -> Option<f64>| {
            [angles(pick), vec![self.angle(&|tree| cross(&tree.steering))]].concat()
        };
        let lengths = |pick: OfSide| {
            vec![self.length(&|tree| pick(&tree.steering.left)), self.length(&|tree| pick(&tree.steering.right))]
        };
        let steering = &self.result.measurement.alignment.steering;
        let misfit = |side: &SteeringAxisReadings| Style::Millimetres.alone(side.residual_mm);
        let mut rows = vec![
            ("Caster, + top rearward", crossed(|side| side.caster_deg, |steering| steering.cross_caster_deg)),
            ("SAI, + top inboard", crossed(|side| side.sai_deg, |steering| steering.cross_sai_deg)),
            ("Included angle, SAI + camber", angles(|side| side.included_angle_deg)),
            ("Caster trail, + axis ahead", lengths(|side| side.caster_trail_mm)),
            ("Scrub radius, + axis inboard", lengths(|side| side.scrub_radius_mm)),
        ];
        if steering.left.caster_to_body_deg.is_some() {
            rows.push(("Caster to the body", angles(|side| side.caster_to_body_deg)));
            rows.push(("SAI to the body", angles(|side| side.sai_to_body_deg)));
        }
        rows.push(("Misfit of one fixed axis", vec![misfit(&steering.left), misfit(&steering.right)]));
        Self::table(f, "Steering", &["left", "right", "left - right"], &rows)?;
        let style = if self.minutes { Style::Minutes } else { Style::Degrees };
        writeln!(f, "Sweep {} from end to end.", style.alone(steering.sweep_range_deg))?;
        let ahead = self.angle(&|tree| tree.steering.ahead_error_deg);
        writeln!(f, "At the ahead station the front wheels stood {ahead} from straight ahead, + to the left.")
    }

    fn turns(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let row = |pick: fn(&TurnReadings) -> Option<f64>| {
            vec![self.angle(&|tree| pick(&tree.turns.left_turn)), self.angle(&|tree| pick(&tree.turns.right_turn))]
        };
        let custom = self.result.measurement.reference.turn;
        let asked = match custom.wheel {
            TurnWheel::Inner => "inner",
            TurnWheel::Outer => "outer",
        };
        Self::table(
            f,
            &format!("Turns, {asked} wheel at {}°", custom.angle_deg),
            &["left turn", "right turn"],
            &[
                ("Inner wheel", row(|turn| turn.inner_deg)),
                ("Outer wheel", row(|turn| turn.outer_deg)),
                ("Toe-out on turns", row(|turn| turn.toe_out_deg)),
                ("Ideal by Ackermann", row(|turn| turn.ackermann_deg)),
            ],
        )?;
        let lock = |pick: fn(&LockReadings) -> Option<f64>| {
            vec![self.angle(&|tree| pick(&tree.turns.lock_left)), self.angle(&|tree| pick(&tree.turns.lock_right))]
        };
        Self::table(
            f,
            "Full lock, steer angle + to the left",
            &["lock left", "lock right"],
            &[("Left wheel", lock(|lock| lock.left_deg)), ("Right wheel", lock(|lock| lock.right_deg))],
        )
    }

    fn worth_note(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.result.expanded_uncertainty.is_some() {
            writeln!(
                f,
                "\n± is the expanded uncertainty: of a hundred such intervals 95 hold the true value. It knows of the noise\n\
                 of the poses and of the inputs that the session says are uncertain, and of nothing else."
            )
        } else {
            writeln!(
                f,
                "\nWhat the readings are worth is not known: the session neither states pose_noise nor has several\n\
                 frames of every target."
            )
        }
    }

    fn verdicts(&self, f: &mut fmt::Formatter<'_>, verdicts: &Verdicts) -> fmt::Result {
        let Verdicts { overall, decision, load_state, readings } = verdicts;
        writeln!(f, "\nBy the specification: {}.", in_words(*overall))?;
        if let Some(note) = self.specification.and_then(|specification| specification.note.as_ref()) {
            writeln!(f, "{}", folded(&plain(note)))?;
        }
        if let Some(state) = load_state {
            writeln!(f, "{}", folded(&format!("Its limits hold for this load: {}", plain(state))))?;
        }
        let rule = match decision.rule {
            Rule::Guarded if self.result.uncertainty.is_none() => {
                "No uncertainty is known, so nothing can be guarded: a reading within its limits conforms.".to_owned()
            }
            Rule::Guarded => format!(
                "Guarded: a reading conforms, or does not, when that is at least {} % sure.",
                100.0 * decision.probability
            ),
            Rule::SimpleAcceptance => "Simple acceptance: a reading within its limits conforms.".to_owned(),
        };
        writeln!(f, "{rule}")?;
        let mut rows = vec![["Verdicts", "reading", "limits", "sure of it", "verdict"].map(str::to_owned)];
        for reading in readings {
            let style = match reading.unit {
                "mm" => Style::Millimetres,
                _ if self.minutes => Style::Minutes,
                _ => Style::Degrees,
            };
            let judgement = reading.judgement;
            let value = self.worth(&|tree| tree.get(reading.path).ok().flatten(), style);
            let sure = judgement.risk_of_wrong_verdict.map_or("-".to_owned(), |risk| {
                // Rounded down: nothing is quite sure.
                let percent = (1000.0 * (1.0 - risk)).floor() / 10.0;
                if percent > 99.9 { "over 99.9 %".to_owned() } else { format!("{percent:.1} %") }
            });
            let why = match (judgement.reason, judgement.rule) {
                (Some(Reason::NotMeasured), _) => " (not measured)",
                (Some(Reason::NearLimit), _) => " (too near a limit)",
                (Some(Reason::TooUncertain), _) => " (too uncertain for these limits)",
                (None, Rule::SimpleAcceptance) => " (as it stands, by simple acceptance)",
                (None, Rule::Guarded) => "",
            };
            let limits = style.limits(reading.limits);
            let verdict = in_words(judgement.verdict);
            rows.push([reading.path.to_owned(), value, limits, sure, format!("{verdict}{why}")]);
        }
        // A wheelbase and its limits are longer than an angle and its own.
        let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
        let [paths, values, limits, sure, verdicts] = core::array::from_fn(width);
        let line = |[path, value, limit, risk, verdict]: &[String; 5]| {
            format!("{path:<paths$}  {value:>values$}  {limit:>limits$}  {risk:>sure$}  {verdict}")
        };
        writeln!(f, "\n{}\n{}", line(&rows[0]), "-".repeat(paths + values + limits + sure + verdicts + 8))?;
        rows[1..].iter().try_for_each(|row| writeln!(f, "{}", line(row)))
    }
}

/// How well a car fits, and the pose that fits worst.
fn in_short(fit: &Fit) -> String {
    let chance = match fit.p_value {
        None => "p unknown, for nothing tells the noise".to_owned(),
        Some(p) if p < 0.001 => "p < 0.001".to_owned(),
        Some(p) => format!("p = {p:.3}"),
    };
    let mut text = format!("χ² {:.1}, {} degrees of freedom, {chance}", fit.chi_squared, fit.degrees_of_freedom);
    if let Some(worst) = fit.poses.iter().max_by(|a, b| a.standardised.total_cmp(&b.standardised)) {
        let PoseFit { stage, station, wheel, standardised, left_out, .. } = worst;
        let station = station.map(|index| format!("[{index}]")).unwrap_or_default();
        let out = if *left_out { " and left out" } else { "" };
        text += &format!(
            "; worst pose {}{station}.{}, off by {standardised:.1} times its noise{out}",
            stage.name(),
            wheel.name()
        );
    }
    text
}

fn in_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Conforms => "conforms",
        Verdict::DoesNotConform => "does not conform",
        Verdict::Undetermined => "undetermined",
    }
}

/// How a figure is printed.
#[derive(Clone, Copy)]
enum Style {
    Degrees,
    Minutes,
    Millimetres,
}

impl Style {
    fn unit(self) -> &'static str {
        match self {
            Self::Degrees => "°",
            Self::Minutes => "",
            Self::Millimetres => " mm",
        }
    }

    /// A figure with its unit.
    fn alone(self, value: Option<f64>) -> String {
        format!("{}{}", self.reading(value), if value.is_some() { self.unit() } else { "" })
    }

    /// A figure without its unit: to 0.01°, a minute or 0.1 mm.
    fn reading(self, value: Option<f64>) -> String {
        let Some(value) = value else { return "-".to_owned() };
        match self {
            Self::Degrees => format!("{:.2}", without_negative_zero(value, 100.0)),
            Self::Minutes => degrees_minutes_from_deg(value).to_string(),
            Self::Millimetres => format!("{:.1}", without_negative_zero(value, 10.0)),
        }
    }

    /// An uncertainty with its unit, rounded up: it must not look smaller than it is.
    fn expanded(self, value: f64) -> String {
        let up = |per_unit: f64| (value * per_unit - 1e-9).ceil() / per_unit;
        match self {
            Self::Degrees => format!("{:.2}°", up(100.0)),
            Self::Minutes => format!("{:.0}′", 60.0 * up(60.0)),
            Self::Millimetres => format!("{:.1} mm", up(10.0)),
        }
    }

    fn limits(self, Limits { min, max }: Limits) -> String {
        // One digit more than a reading where the limit has it: a limit must not look met or missed by rounding.
        let figure = |value: Option<f64>| {
            let (digits, per_unit) = match self {
                Self::Degrees => (3, 100.0),
                Self::Millimetres => (2, 10.0),
                Self::Minutes => return self.reading(value),
            };
            let round = |value: f64| (value * per_unit).round() / per_unit;
            let finer = value.filter(|value| (value - round(*value)).abs() > 1e-9);
            finer.map_or_else(|| self.reading(value), |value| format!("{value:.digits$}"))
        };
        match (min, max) {
            (Some(_), Some(_)) => format!("{} to {}{}", figure(min), figure(max), self.unit()),
            (Some(_), None) => format!("at least {}{}", figure(min), self.unit()),
            _ => format!("at most {}{}", figure(max), self.unit()),
        }
    }
}

impl Display for Report<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.header(f)?;
        self.wheels(f)?;
        self.axles_and_chassis(f)?;
        if self.session.sweep.is_empty() {
            writeln!(f, "\nNo caster sweep in this session: caster, SAI and toe-out on turns are absent.")?;
        } else {
            self.steering(f)?;
        }
        self.turns(f)?;
        self.worth_note(f)?;
        if let Some(verdicts) = &self.result.verdicts {
            self.verdicts(f, verdicts)?;
        }
        let warnings = &self.result.measurement.warnings;
        if warnings.is_empty() {
            writeln!(f, "\nNo warnings.")?;
        } else {
            writeln!(f, "\nWarnings:")?;
            for warning in warnings {
                writeln!(f, "- {warning}")?;
            }
        }
        writeln!(
            f,
            "\nReadings are no licence to drive: the vehicle maker's procedure and figures, local codes and licensed\n\
             practice decide. Secure the car before anybody lifts, rolls or steers it."
        )
    }
}

/// A remark is somebody's text: no control character of it reaches the terminal.
fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// A text in lines of at most 100 characters, but for longer words.
fn folded(text: &str) -> String {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let line = lines.last_mut().expect("there is always a line");
        if !line.is_empty() && line.chars().count() + word.chars().count() >= 100 {
            lines.push(word.to_owned());
        } else {
            *line += if line.is_empty() { "" } else { " " };
            *line += word;
        }
    }
    lines.join("\n")
}

/// A value that rounds to zero has no sign for a person.
fn without_negative_zero(value: f64, per_unit: f64) -> f64 {
    if (value * per_unit).round() == 0.0 { 0.0 } else { value }
}
