//! Reads a session, measures the car and prints the report: for a person, or as JSON.
//!
//! `cargo run --release --example align` measures the demo session; `-- SESSION.json` one of your own.

use alignment_core::json::{measurement_schema, measurement_to_json, session_from_json, session_schema};
use alignment_core::session::{Centreline, Datum, Session, TurnWheel};
use alignment_core::steering::SteeringAxisReadings;
use alignment_core::units::degrees_minutes_from_deg;
use alignment_core::{Measurement, Wheel, measure};
use clap::Parser;
use std::fmt::{self, Display, Write as _};
use std::io::{self, Write as _};
use std::path::PathBuf;
use std::process::ExitCode;

const DEMO: &str = include_str!("pulling-car.json");

/// Measure a car from the target poses of one session.
#[derive(Parser)]
struct Arguments {
    /// The session, JSON of format "alignment-session/1"; the demo session when left out
    session: Option<PathBuf>,
    /// Print the result as JSON at full precision
    #[arg(long)]
    json: bool,
    /// Print angles in degrees and minutes
    #[arg(long, conflicts_with = "json")]
    minutes: bool,
    /// Print the JSON Schema of a session and stop
    #[arg(long, conflicts_with_all = ["session", "json", "minutes", "result_schema"])]
    schema: bool,
    /// Print the JSON Schema of a result and stop
    #[arg(long, conflicts_with_all = ["session", "json", "minutes"])]
    result_schema: bool,
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
        return Ok(session_schema());
    }
    if arguments.result_schema {
        return Ok(measurement_schema());
    }
    let (name, text) = match &arguments.session {
        None => ("the demo session".to_owned(), DEMO.to_owned()),
        Some(path) => {
            let name = path.display().to_string();
            let bytes = std::fs::read(path).map_err(|error| format!("{name}: {error}"))?;
            let text = String::from_utf8(bytes).map_err(|error| {
                format!("{name}: the text is not UTF-8 (byte {})", error.utf8_error().valid_up_to())
            })?;
            (name, text)
        }
    };
    let session = session_from_json(&text).map_err(|error| format!("{name}: {error}"))?;
    let result = measure(&session).map_err(|error| format!("{name}: {error}"))?;
    Ok(if arguments.json {
        measurement_to_json(&result)
    } else {
        Report { name: &name, session: &session, result: &result, minutes: arguments.minutes }.to_string()
    })
}

/// A report for a person.
struct Report<'a> {
    name: &'a str,
    session: &'a Session,
    result: &'a Measurement,
    minutes: bool,
}

impl Report<'_> {
    /// An angle: 0.01°, or degrees and minutes. A dash where it is absent.
    fn angle(&self, value: Option<f64>) -> String {
        match value {
            None => "-".to_owned(),
            Some(value) if self.minutes => degrees_minutes_from_deg(value).to_string(),
            Some(value) => format!("{:.2}°", without_negative_zero(value, 100.0)),
        }
    }

    fn table(f: &mut fmt::Formatter<'_>, title: &str, heads: &[&str], rows: &[(&str, Vec<String>)]) -> fmt::Result {
        let mut line = format!("{title:<34}");
        for head in heads {
            write!(line, "{head:>13}")?;
        }
        writeln!(f, "\n{}\n{}", line.trim_end(), "-".repeat(line.chars().count()))?;
        for (name, cells) in rows {
            let mut line = format!("{name:<34}");
            for cell in cells {
                write!(line, "{cell:>13}")?;
            }
            writeln!(f, "{}", line.trim_end())?;
        }
        Ok(())
    }

    fn header(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Wheel alignment: {}", self.name)?;
        if let Some(note) = &self.session.note {
            // A remark is somebody's text: no control character of it reaches the terminal.
            let note: String = note.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
            writeln!(f, "{}", folded(&note))?;
        }
        let reference = &self.result.reference;
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
        writeln!(f, "Angles in {angles}, lengths in mm. Datum: {datum}. Centreline: {centreline}.")
    }

    fn wheels(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let wheels = &self.result.alignment.wheels;
        let row = |pick: &dyn Fn(Wheel) -> String| Wheel::ALL.iter().map(|&wheel| pick(wheel)).collect::<Vec<_>>();
        Self::table(
            f,
            "Wheels",
            &["fl", "fr", "rl", "rr"],
            &[
                ("Camber, + top outward", row(&|w| self.angle(wheels.get(w).camber_deg))),
                ("Toe (1), + toe-in", row(&|w| self.angle(wheels.get(w).toe_deg))),
                ("Toe to the centreline", row(&|w| self.angle(wheels.get(w).toe_to_centreline_deg))),
                ("Rolling radius", row(&|w| length(wheels.get(w).rolling_radius_mm))),
                ("Runout of the clamp", row(&|w| self.angle(wheels.get(w).runout_deg))),
            ],
        )?;
        writeln!(f, "(1) front: to the thrust line; rear: to the centreline")
    }

    fn axles_and_chassis(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let axles = &self.result.alignment.axles;
        Self::table(
            f,
            "Axles",
            &["front", "rear"],
            &[
                ("Total toe", vec![self.angle(axles.front.total_toe_deg), self.angle(axles.rear.total_toe_deg)]),
                (
                    "Camber, left minus right",
                    vec![self.angle(axles.front.cross_camber_deg), self.angle(axles.rear.cross_camber_deg)],
                ),
                (
                    "Setback, + right further rearward",
                    vec![self.angle(axles.front.setback_deg), self.angle(axles.rear.setback_deg)],
                ),
                ("Setback", vec![length(axles.front.setback_mm), length(axles.rear.setback_mm)]),
                ("Track at the wheel centres", vec![length(axles.front.track_mm), length(axles.rear.track_mm)]),
                (
                    "Track at the ground",
                    vec![length(axles.front.track_at_ground_mm), length(axles.rear.track_at_ground_mm)],
                ),
            ],
        )?;
        let chassis = &self.result.alignment.chassis;
        Self::table(
            f,
            "Chassis",
            &[""],
            &[
                ("Thrust angle, + to the right", vec![self.angle(chassis.thrust_angle_deg)]),
                ("Wheelbase, left", vec![length(chassis.wheelbase_left_mm)]),
                ("Wheelbase, right", vec![length(chassis.wheelbase_right_mm)]),
                ("Wheelbase, left minus right", vec![length(chassis.wheelbase_difference_mm)]),
                ("Diagonal fl to rr", vec![length(chassis.diagonal_fl_rr_mm)]),
                ("Diagonal fr to rl", vec![length(chassis.diagonal_fr_rl_mm)]),
                ("Diagonals, difference", vec![length(chassis.diagonal_difference_mm)]),
                ("Track, front minus rear", vec![length(chassis.track_difference_mm)]),
                ("Axle offset, rear + to the left", vec![length(chassis.axle_offset_mm)]),
            ],
        )
    }

    fn steering(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let steering = &self.result.alignment.steering;
        let angles = |pick: fn(&SteeringAxisReadings) -> Option<f64>| {
            vec![self.angle(pick(&steering.left)), self.angle(pick(&steering.right))]
        };
        let crossed = |pick, cross| [angles(pick), vec![self.angle(cross)]].concat();
        let lengths = |pick: fn(&SteeringAxisReadings) -> Option<f64>| {
            vec![length(pick(&steering.left)), length(pick(&steering.right))]
        };
        let mut rows = vec![
            ("Caster, + top rearward", crossed(|side| side.caster_deg, steering.cross_caster_deg)),
            ("SAI, + top inboard", crossed(|side| side.sai_deg, steering.cross_sai_deg)),
            ("Included angle, SAI + camber", angles(|side| side.included_angle_deg)),
            ("Caster trail, + axis ahead", lengths(|side| side.caster_trail_mm)),
            ("Scrub radius, + axis inboard", lengths(|side| side.scrub_radius_mm)),
        ];
        if steering.left.caster_to_body_deg.is_some() {
            rows.push(("Caster to the body", angles(|side| side.caster_to_body_deg)));
            rows.push(("SAI to the body", angles(|side| side.sai_to_body_deg)));
        }
        rows.push(("Misfit of one fixed axis", lengths(|side| side.residual_mm)));
        Self::table(f, "Steering", &["left", "right", "left - right"], &rows)?;
        writeln!(f, "Sweep {} from end to end.", self.angle(steering.sweep_range_deg))?;
        let ahead = self.angle(steering.ahead_error_deg);
        writeln!(f, "At the ahead station the front wheels stood {ahead} from straight ahead, + to the left.")
    }

    fn turns(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let turns = &self.result.alignment.turns;
        let row = |pick: fn(&alignment_core::turns::TurnReadings) -> Option<f64>| {
            vec![self.angle(pick(&turns.left_turn)), self.angle(pick(&turns.right_turn))]
        };
        let custom = self.result.reference.turn;
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
        let (left, right) = (&turns.lock_left, &turns.lock_right);
        Self::table(
            f,
            "Full lock, steer angle + to the left",
            &["lock left", "lock right"],
            &[
                ("Left wheel", vec![self.angle(left.left_deg), self.angle(right.left_deg)]),
                ("Right wheel", vec![self.angle(left.right_deg), self.angle(right.right_deg)]),
            ],
        )
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
        if self.result.warnings.is_empty() {
            writeln!(f, "\nNo warnings.")?;
        } else {
            writeln!(f, "\nWarnings:")?;
            for warning in &self.result.warnings {
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

/// A length in mm to 0.1; a dash where it is absent.
fn length(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |value| format!("{:.1} mm", without_negative_zero(value, 10.0)))
}

/// A value that rounds to zero has no sign for a person.
fn without_negative_zero(value: f64, per_unit: f64) -> f64 {
    if (value * per_unit).round() == 0.0 { 0.0 } else { value }
}
