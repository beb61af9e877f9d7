//! Readings by path, and their comparison.

use alignment_core::Alignment;
use serde_json::Value;
use std::collections::BTreeMap;

/// Every scalar of the tree by its path, vectors by element: `wheels.fl.centre_mm[0]`. None where absent.
pub fn by_path(alignment: &Alignment) -> BTreeMap<String, Option<f64>> {
    let mut readings = BTreeMap::new();
    walk(&serde_json::to_value(alignment).expect("a tree has a JSON form"), String::new(), &mut readings);
    readings
}

fn walk(value: &Value, path: String, readings: &mut BTreeMap<String, Option<f64>>) {
    match value {
        Value::Object(members) => {
            for (key, member) in members {
                let dot = if path.is_empty() { "" } else { "." };
                walk(member, format!("{path}{dot}{key}"), readings);
            }
        }
        Value::Array(elements) => {
            for (index, element) in elements.iter().enumerate() {
                walk(element, format!("{path}[{index}]"), readings);
            }
        }
        Value::Number(number) => {
            readings.insert(path, number.as_f64());
        }
        Value::Null => {
            readings.insert(path, None);
        }
        other => panic!("{path} is {other}, not a reading"),
    }
}

/// How close two readings must be, by the unit in the path: 1e-9 deg, 1e-6 mm, 1e-11 for directions. What is interpolated
/// between sweep stations has its own tolerance.
#[derive(Clone, Copy)]
pub struct Tolerance {
    pub deg: f64,
    pub mm: f64,
    pub interpolated_deg: f64,
}

pub const EXACT: Tolerance = Tolerance { deg: 1e-9, mm: 1e-6, interpolated_deg: 1e-9 };

impl Tolerance {
    fn of(&self, path: &str) -> f64 {
        let interpolated = path.contains("_turn.") && (path.ends_with("outer_deg") || path.ends_with("inner_deg"))
            || path.ends_with("toe_out_deg");
        if interpolated {
            self.interpolated_deg
        } else if path.contains("_deg") {
            self.deg
        } else if path.contains("_mm") {
            self.mm
        } else {
            self.deg.to_radians()
        }
    }
}

/// The paths at which two trees differ, with both readings.
pub fn differences(found: &Alignment, expected: &Alignment, tolerance: Tolerance) -> Vec<String> {
    let (found, expected) = (by_path(found), by_path(expected));
    assert_eq!(found.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>());
    found
        .iter()
        .zip(expected.values())
        .filter_map(|((path, found), expected)| {
            let same = match (found, expected) {
                (Some(found), Some(expected)) => (found - expected).abs() <= tolerance.of(path),
                (None, None) => true,
                _ => false,
            };
            (!same).then(|| format!("{path}: {found:?}, expected {expected:?}"))
        })
        .collect()
}

#[track_caller]
pub fn assert_same(found: &Alignment, expected: &Alignment, tolerance: Tolerance) {
    let differences = differences(found, expected, tolerance);
    assert!(differences.is_empty(), "{}", differences.join("\n"));
}
