//! Follows a car live: frames in, one line of readings for each, from a file or a pipe.
//!
//! `cargo run --release --example live` follows an invented car; `-- SESSION.json FRAMES` your own, where FRAMES is a file or `-` for
//! what comes through a pipe. Each line of it is a JSON object: a frame, `{"time_s": 0.01, "fl": POSE, "rr": POSE}` with the poses as a
//! session has them and the targets that are seen, or what is done with the car: `{"adjust": ["fl"]}`, `{"steer": "held"}`, `{"lift": ["rl", "rr"]}`,
//! `{"lifted": true}`, `{"lowered": true}`.
//!
//! Lifting, rolling and steering a car can hurt. The vehicle maker's procedure, local codes and licensed practice come first.

use alignment_core::json::session_from_json;
use alignment_core::live::{LiveReadings, LiveSettings, Steering, Tracker};
use alignment_core::session::{PoseNoise, Sighting};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{ByWheel, Session, Wheel};
use clap::Parser;
use serde_json::{Map, Value, json};
use std::fs::File;
use std::io::{self, BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::ExitCode;

/// Follow a car live.
#[derive(Parser)]
struct Arguments {
    /// The session, JSON of format "alignment-session/1"; an invented car when left out
    #[arg(requires = "frames")]
    session: Option<PathBuf>,
    /// Frames, one JSON object in each line; `-` for standard input
    frames: Option<PathBuf>,
    /// Time constant of the smoothing, s
    #[arg(long, default_value_t = 0.0)]
    smoothing_s: f64,
}

fn main() -> ExitCode {
    match run(&Arguments::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(sentence) => {
            eprintln!("{sentence}");
            ExitCode::from(2)
        }
    }
}

fn run(arguments: &Arguments) -> Result<(), String> {
    let (session, lines): (Session, Box<dyn Iterator<Item = io::Result<String>>>) =
        match (&arguments.session, &arguments.frames) {
            (Some(session), Some(frames)) => {
                let text =
                    std::fs::read_to_string(session).map_err(|fault| format!("{}: {fault}", session.display()))?;
                let session = session_from_json(&text).map_err(|fault| fault.to_string())?;
                let reader: Box<dyn BufRead> = if frames.as_os_str() == "-" {
                    Box::new(io::stdin().lock())
                } else {
                    let file = File::open(frames).map_err(|fault| format!("{}: {fault}", frames.display()))?;
                    Box::new(BufReader::new(file))
                };
                (session, Box::new(reader.lines()))
            }
            _ => {
                let (session, lines) = demo();
                (session, Box::new(lines.into_iter().map(|line| Ok(line.to_string()))))
            }
        };
    let settings = LiveSettings { smoothing_s: arguments.smoothing_s, ..LiveSettings::default() };
    let mut tracker = Tracker::new(&session, settings).map_err(|fault| fault.to_string())?;
    let mut out = io::stdout().lock();
    for (line, number) in lines.zip(1..) {
        let line = line.map_err(|fault| fault.to_string())?;
        if line.trim().is_empty() {
            continue;
        }
        let text = take(&mut tracker, &line).map_err(|sentence| format!("line {number}: {sentence}"))?;
        // Whoever reads may have enough.
        if writeln!(out, "{text}").is_err() {
            break;
        }
    }
    Ok(())
}

/// Does what a line says; returns what is to be printed.
fn take(tracker: &mut Tracker, line: &str) -> Result<String, String> {
    let mut of: Map<String, Value> = serde_json::from_str(line).map_err(|fault| fault.to_string())?;
    if let Some(time_s) = of.remove("time_s") {
        let time_s = time_s.as_f64().ok_or("time_s: a number is needed")?;
        let station: ByWheel<Sighting> =
            serde_json::from_value(Value::Object(of)).map_err(|fault| fault.to_string())?;
        let poses = ByWheel::from_fn(|wheel| station.get(wheel).frames().first().copied());
        return tracker.frame(time_s, &poses).map(shown).map_err(|fault| fault.to_string());
    }
    for (what, how) in &of {
        match what.as_str() {
            "adjust" => tracker.adjust(wheels(how)?),
            "lift" => tracker.lift(wheels(how)?),
            "lifted" if how == &Value::Bool(true) => tracker.lifted(),
            "lowered" if how == &Value::Bool(true) => tracker.lowered(),
            "steer" => tracker.steer(match how.as_str() {
                Some("held") => Steering::Held,
                Some("free") => Steering::Free,
                _ => return Err("steer: \"held\" or \"free\" is needed".to_owned()),
            }),
            _ => return Err(format!("{what}: nothing is done by this name and value")),
        }
    }
    Ok(line.trim().to_owned())
}

fn wheels(names: &Value) -> Result<ByWheel<bool>, String> {
    let mut found = ByWheel::default();
    for name in names.as_array().ok_or("a list of wheels is needed, as in [\"fl\"]")? {
        let wheel: Wheel = serde_json::from_value(name.clone()).map_err(|fault| fault.to_string())?;
        *found.get_mut(wheel) = true;
    }
    Ok(found)
}

/// Camber and toe of each wheel, degrees, with h, s and w where they are held, stale or weak.
fn shown(now: &LiveReadings) -> String {
    let mut text = format!("{:8.3} s", now.time_s);
    for wheel in Wheel::ALL {
        let readings = now.alignment.wheels.get(wheel);
        let number = |value: Option<f64>, path: &str| {
            let flags = now.flags.of(&format!("wheels.{wheel}.{path}")).unwrap_or_default();
            let marks = [(flags.held, 'h'), (flags.stale, 's'), (flags.weak, 'w')];
            let marks: String = marks.iter().filter_map(|(is_so, mark)| is_so.then_some(mark)).collect();
            let value = value
                .map_or_else(|| "absent".to_owned(), |value| format!("{:+.2}°", (value * 100.0).round() / 100.0 + 0.0));
            format!("{value:>7}{marks:<3}")
        };
        let knocked = if *now.knocked.get(wheel) { " KNOCKED" } else { "" };
        let (camber, toe) = (number(readings.camber_deg, "camber_deg"), number(readings.toe_deg, "toe_deg"));
        text += &format!("  {wheel} {camber} {toe}{knocked}");
    }
    text
}

/// An invented car that is steered, then adjusted with the steering wheel held, then lifted.
fn demo() -> (Session, Vec<Value>) {
    let car = VirtualVehicle {
        pose_noise: Some(PoseNoise { rotation_deg: 0.003, translation_mm: 0.03 }),
        ..VirtualVehicle::default()
    };
    let mut time_s = 0.0;
    let mut frame = |car: &VirtualVehicle, steer_deg: f64, hidden: &[&str]| {
        time_s += 0.1;
        let sweep_deg = vec![steer_deg];
        let one = VirtualVehicle { sweep_deg, lock_deg: None, seed: (time_s * 1e3) as u64, ..car.clone() }.session();
        let mut line = json!(one.sweep[0]);
        for wheel in hidden {
            line[*wheel] = Value::Null;
        }
        line["time_s"] = json!(time_s);
        line
    };
    let mut lines = vec![frame(&car, 0.0, &[])];
    lines.extend([5.0, 12.0, -9.0, 0.0].map(|steer_deg| frame(&car, steer_deg, &[])));
    lines.extend([(); 2].map(|()| frame(&car, 0.0, &["rr"])));
    lines.extend([json!({"steer": "held"}), json!({"adjust": ["fl"]})]);
    let mut turned = car.clone();
    for _ in 0..4 {
        turned.front.left.toe_to_centreline_deg -= 0.03;
        lines.push(frame(&turned, 0.0, &[]));
    }
    lines.extend([json!({"adjust": []}), json!({"lift": ["fl", "fr", "rl", "rr"]})]);
    let mut hangs = turned;
    for axle in [&mut hangs.front, &mut hangs.rear] {
        axle.left.camber_deg -= 1.0;
        axle.right.camber_deg -= 1.0;
    }
    lines.push(frame(&hangs, 0.0, &[]));
    lines.push(json!({"lifted": true}));
    lines.push(frame(&hangs, 0.0, &[]));
    (car.session(), lines)
}
