//! The binary interface: what is promised of it (docs/abi.md) is in abi.txt, and nothing there changes unnoticed. And C has what the core has:
//! alignment-core/contract.json.

mod contract;
mod header_text;

use header_text::Header;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;
use std::{env, fs};
use wheel_alignment::*;

/// The interface as text: functions, structs with the place and the size of every member, constants.
fn interface(header: &Header) -> String {
    let mut text = format!("version {WA_ABI_VERSION}\n");
    let mut functions: Vec<_> = header.functions.iter().collect();
    functions.sort_by_key(|function| &function.name);
    for function in functions {
        writeln!(text, "function {} {}", function.name, function.declaration).unwrap();
    }
    for (name, of) in &header.structs {
        writeln!(text, "struct {name} size {} alignment {}", of.size, of.alignment).unwrap();
        for member in &of.members {
            let (offset, size) = (member.offset, member.size);
            writeln!(text, "member {name} {} offset {offset} size {size} {}", member.name, member.declaration).unwrap();
        }
    }
    for (name, value) in &header.constants {
        writeln!(text, "constant {name} {value}").unwrap();
    }
    text
}

#[test]
fn nothing_of_the_interface_has_changed() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("abi.txt");
    let now = interface(&Header::read());
    if env::var_os("WA_WRITE_ABI").is_some() {
        fs::write(&path, &now).unwrap();
    }
    let committed = fs::read_to_string(&path).unwrap_or_default();
    let committed: BTreeSet<&str> = committed.lines().collect();
    let now: BTreeSet<&str> = now.lines().collect();
    let gone: Vec<_> = committed.difference(&now).collect();
    let new: Vec<_> = now.difference(&committed).collect();
    assert!(
        gone.is_empty() && new.is_empty(),
        "gone: {gone:#?}\nnew: {new:#?}\nread docs/abi.md, then WA_WRITE_ABI=1 cargo test -p alignment-ffi --test abi"
    );
}

macro_rules! layouts {
    ($($rust:ident $c:literal),* $(,)?) => {
        /// What the C rules make of the header is what Rust has, on a machine of 64 bits.
        #[test]
        #[cfg(target_pointer_width = "64")]
        fn structs_are_as_large_in_rust_as_in_c() {
            let header = Header::read();
            let mut names = BTreeSet::new();
            $(
                let of = header.structs.get($c).unwrap_or_else(|| panic!("no {}", $c));
                assert_eq!((size_of::<$rust>(), align_of::<$rust>()), (of.size, of.alignment), $c);
                names.insert($c.to_owned());
            )*
            assert_eq!(names, header.structs.keys().cloned().collect());
        }
    };
}

layouts! {
    WaAheadReadings "wa_ahead_readings_result", WaAheadRecords "wa_ahead_records", WaAlignment "wa_alignment", WaAxisAngles "wa_axis_angles",
    WaAxleReadings "wa_axle_readings", WaAxles "wa_axles", WaCamera "wa_camera", WaChassisReadings "wa_chassis_readings",
    WaClampCompensation "wa_clamp_compensation", WaColumns "wa_columns", WaCompensation "wa_compensation",
    WaDegreesMinutes "wa_degrees_minutes", WaError "wa_error", WaExpanded "wa_expanded", WaFit "wa_fit",
    WaFlags "wa_flags", WaFlagsByBasis "wa_flags_by_basis", WaGaugePosition "wa_gauge_position", WaInput "wa_input", WaInputUncertainty "wa_input_uncertainty",
    WaJointOptions "wa_joint_options", WaJudgement "wa_judgement", WaLimits "wa_limits", WaLiveReadings "wa_live_readings", WaLiveSettings "wa_live_settings", WaLockReadings "wa_lock_readings",
    WaMeasurement "wa_measurement", WaNormalTolerances "wa_normal_tolerances", WaOptional "wa_optional", WaOutput "wa_output", WaPitchPosition "wa_pitch_position", WaPlan "wa_plan",
    WaPlane "wa_plane", WaPose "wa_pose", WaPoseCovariance "wa_pose_covariance", WaPoseNoise "wa_pose_noise", WaReach "wa_reach_result",
    WaReference "wa_reference", WaRepeatability "wa_repeatability_result", WaSession "wa_session",
    WaSessionRecords "wa_session_records", WaSighting "wa_sighting", WaSpread "wa_spread", WaStation "wa_station",
    WaStations "wa_stations", WaSteeringAxisReadings "wa_steering_axis_readings", WaSteeringReadings "wa_steering_readings",
    WaTolerance "wa_tolerance", WaTrials "wa_trials", WaTurn "wa_turn", WaTurnReadings "wa_turn_readings",
    WaTurnsReadings "wa_turns_readings", WaTyreSize "wa_tyre_size", WaUncertain "wa_uncertain", WaUncertainty "wa_uncertainty",
    WaWheelReadings "wa_wheel_readings", WaWheels "wa_wheels", WaToeChanges "wa_toe_changes", WaEccentricAngles "wa_eccentric_angles", WaShimThicknesses "wa_shim_thicknesses", WaSubframeShift "wa_subframe_shift_result", WaTaperedShim "wa_tapered_shim_result", WaShimChanges "wa_shim_changes", WaShelfShim "wa_shelf_shim", WaStance "wa_stance",
    WaGround "wa_ground", WaGroundLine "wa_ground_line", WaPlacedStand "wa_placed_stand", WaStandAssessment "wa_stand_assessment",
    WaStandMoves "wa_stand_moves_result", WaStandReadings "wa_stand_readings",
}

/// Readings lie in the order of their positions, each where its path says.
#[test]
fn every_reading_is_a_member_at_its_place() {
    use alignment_core::paths::READINGS;
    let header = Header::read();
    let mut place = std::mem::offset_of!(WaAlignment, wheels);
    for path in READINGS {
        let (names, component) = match path.split_once('[') {
            Some((names, rest)) => (names, rest.trim_end_matches(']').parse().unwrap()),
            None => (path, 0),
        };
        let (mut offset, mut within) = (component * 8, "wa_alignment".to_owned());
        for name in names.split('.') {
            let members = &header.structs[&within].members;
            let member = members.iter().find(|member| member.name == name).unwrap_or_else(|| panic!("no {path}"));
            offset += member.offset;
            let kind = member.declaration.strip_prefix("struct ").and_then(|rest| rest.split_once(' '));
            within = kind.map_or(String::new(), |(kind, _)| kind.to_owned());
        }
        assert_eq!(offset, place, "{path}");
        place += 8;
    }
    assert_eq!(place, size_of::<WaAlignment>());
}

/// Statuses, warnings and all other numbers are final.
#[test]
fn numbers_stand_once() {
    let header = Header::read();
    let names: BTreeSet<_> = header.constants.iter().map(|(name, _)| name).collect();
    assert_eq!(names.len(), header.constants.len());
    for warning in alignment_core::error::WarningCode::ALL {
        let name = format!("WA_WARNING_{}", warning.name().to_uppercase());
        let value = header.constants.iter().find(|(known, _)| *known == name).map(|(_, value)| value.as_str());
        assert_eq!(value, Some(format!("(1 << {})", warning.number() - 1).as_str()), "{name}");
        assert_eq!(warning.bit(), 1 << (warning.number() - 1));
    }
}
