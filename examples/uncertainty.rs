//! Where the uncertainty of a reading comes from, how far to roll and to sweep, and whether trials agree.
//!
//! `cargo run --release --example uncertainty` takes the demo session apart; `-- --reading wheels.fl.toe_deg` another reading,
//! `--trials` holds the law of propagation against the Monte Carlo method, all readings, in a few minutes.

use alignment_core::json::session_from_json;
use alignment_core::monte_carlo::Settings;
use alignment_core::paths::{READINGS, unit};
use alignment_core::session::Session;
use alignment_core::uncertainty::{
    self, Plan, ROLL_RANGE_DEG, SWEEP_RANGE_DEG, Source, Uncertainty, monte_carlo, propagate, reach,
};
use clap::Parser;
use std::path::PathBuf;
use std::process::ExitCode;

const DEMO: &str = include_str!("pulling-car.json");

/// Inputs with a smaller share of the variance are told together.
const LEAST_SHARE: f64 = 0.001;

/// Say where the uncertainty of a reading comes from.
#[derive(Parser)]
struct Arguments {
    /// The session, JSON of format "alignment-session/1"; the demo session when left out
    session: Option<PathBuf>,
    /// The path of the reading
    #[arg(long, default_value = "steering.left.caster_deg")]
    reading: String,
    /// Take the poses one by one, instead of by wheel and stage
    #[arg(long)]
    by_pose: bool,
    /// Hold the law of propagation against trials, for every reading
    #[arg(long)]
    trials: bool,
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
    let text = match &arguments.session {
        None => DEMO.to_owned(),
        Some(path) => std::fs::read_to_string(path).map_err(|error| format!("{}: {error}", path.display()))?,
    };
    let session = session_from_json(&text).map_err(|error| error.to_string())?;
    let known = propagate(&session).map_err(|error| error.to_string())?;
    if arguments.trials {
        return trials(&session, &known).map_err(|error| error.to_string());
    }
    budget(&known, arguments).map_err(|error| error.to_string())?;
    plan().map_err(|error| error.to_string())
}

fn budget(known: &Uncertainty, arguments: &Arguments) -> Result<(), alignment_core::Error> {
    let path = arguments.reading.as_str();
    let parts = if arguments.by_pose { known.budget_by_pose(path)? } else { known.budget(path)? };
    let (Some(value), Some(expanded)) = (known.measurement.alignment.get(path)?, known.expanded(path, 0.95)?) else {
        println!("{path} is absent in this session.");
        return Ok(());
    };
    let [u, k] = [expanded.expanded_uncertainty, expanded.coverage_factor];
    let unit = unit(path);
    println!("{path} = {value:.4} ± {u:.4} {unit}, k = {k:.2}\n");
    println!("| input | alone (k = 1), {unit} | share |\n|---|---|---|");
    let row = |name: &str, standard_uncertainty: f64, share: f64| {
        println!("| {name} | {standard_uncertainty:.4} | {:.1} % |", 100.0 * share);
    };
    let (told, rest): (Vec<_>, Vec<_>) = parts.into_iter().partition(|part| part.share >= LEAST_SHARE);
    for part in told {
        row(&named(part.source), part.standard_uncertainty, part.share);
    }
    if !rest.is_empty() {
        let variance: f64 = rest.iter().map(|part| part.standard_uncertainty.powi(2)).sum();
        row(&format!("{} others", rest.len()), variance.sqrt(), rest.iter().map(|part| part.share).sum());
    }
    Ok(())
}

fn named(source: Source) -> String {
    match source {
        Source::Poses { stage, station: None, wheel } => format!("poses, {}, {wheel}", stage.name()),
        Source::Poses { stage, station: Some(station), wheel } => format!("pose, {} {station}, {wheel}", stage.name()),
        Source::ClampStandoff(wheel) => format!("clamp standoff, {wheel}"),
        Source::Up => "up direction".to_owned(),
        Source::Runway => "runway".to_owned(),
        Source::FrontLoadedRadius => "loaded radius, front".to_owned(),
        Source::RearLoadedRadius => "loaded radius, rear".to_owned(),
        Source::RideHeight => "ride heights".to_owned(),
        Source::RightCameras => "right cameras against left ones".to_owned(),
    }
}

/// How far to roll and to sweep, from one end to the other, for ± 0.02° at k = 2.
fn plan() -> Result<(), alignment_core::Error> {
    println!(
        "\nFor ± 0.02° (k = 2) of camber, toe and thrust angle by the roll, of caster and SAI by the sweep, each from one\n\
         end to the other: frames of 0.005° and 0.05 mm, 5 rolling stations, 9 in the sweep, all other inputs exact.\n"
    );
    println!("| frames | roll | sweep |\n|---|---|---|");
    let degrees = |value: Option<f64>, [least, _]: [f64; 2]| match value {
        None => "out of reach".to_owned(),
        Some(value) if value <= least => format!("{least:.0}° or less"),
        Some(value) => format!("{value:.0}°"),
    };
    for frames in [1, 2, 4, 9] {
        let reach = reach(&Plan { frames, ..Plan::default() }, 0.02, 2.0)?;
        let (roll, sweep) =
            (degrees(reach.roll_range_deg, ROLL_RANGE_DEG), degrees(reach.sweep_range_deg, SWEEP_RANGE_DEG));
        println!("| {frames} | {roll} | {sweep} |");
    }
    Ok(())
}

fn trials(session: &Session, known: &Uncertainty) -> Result<(), alignment_core::Error> {
    // Exact readings have nothing to be drawn, and residuals are no figures of the car.
    let is_watched = |path: &&&str| {
        let uncertain = known.standard.get(path).ok().flatten().is_some_and(|u| u > 0.0);
        uncertain && !path.contains("residual")
    };
    let paths: Vec<&str> = READINGS.iter().filter(is_watched).copied().collect();
    let (mut agree, mut closest) = (0, 0.0_f64);
    // A few at a time: every value of every trial is kept.
    for paths in paths.chunks(20) {
        let uncertainty::Trials { paths, simulation, agreement } = monte_carlo(session, paths, Settings::default())?;
        for (path, one) in paths.iter().zip(agreement) {
            let share = one.low.max(one.high) / one.tolerance;
            closest = closest.max(share);
            agree += usize::from(one.agrees);
            println!("{path:<48} {:>4.0} % of the tolerance", 100.0 * share);
        }
        eprintln!("{} trials", simulation.trials);
    }
    println!(
        "{agree} of {} readings agree to two digits; the worst used {:.0} % of its tolerance.",
        paths.len(),
        100.0 * closest
    );
    Ok(())
}
