//! Repeats of one reading, in groups, and crossed.

use crate::{CAPACITY, Call, call, in_two_calls, message};
use alignment_core::repeatability::{crossed, one_way, repeatability};
use std::ffi::c_char;
use std::{mem, ptr};
use wheel_alignment::*;

const CAMBER_DEG: [f64; 12] = [-0.51, -0.50, -0.50, -0.52, -0.54, -0.55, -0.54, -0.53, -0.47, -0.48, -0.48, -0.46];

fn json<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_string_pretty(value).unwrap()
}

fn fresh() -> WaRepeatability {
    WaRepeatability {
        size: mem::size_of::<WaRepeatability>(),
        mean: 7.0,
        standard_deviation: 7.0,
        degrees_of_freedom: 7.0,
        standard_deviation_of_mean: 7.0,
        coverage_factor: 7.0,
        expanded: 7.0,
        expanded_of_mean: 7.0,
    }
}

#[test]
fn repeats_are_the_cores_to_the_bit() {
    let mut given = fresh();
    let (status, error) = call(|error| {
        // SAFETY: buffers of our own, with their own lengths.
        unsafe { wa_repeatability(CAMBER_DEG.as_ptr(), CAMBER_DEG.len(), &raw mut given, error) }
    });
    assert_eq!(status, WA_SUCCESS, "{}", message(&error));
    let expected = repeatability(&CAMBER_DEG).unwrap();
    for (given, expected) in [
        (given.mean, expected.mean),
        (given.standard_deviation, expected.standard_deviation),
        (given.degrees_of_freedom, expected.degrees_of_freedom),
        (given.standard_deviation_of_mean, expected.standard_deviation_of_mean),
        (given.coverage_factor, expected.coverage_factor),
        (given.expanded, expected.expanded),
        (given.expanded_of_mean, expected.expanded_of_mean),
    ] {
        assert_eq!(given.to_bits(), expected.to_bits());
    }
}

#[test]
fn repeats_that_cannot_be_are_refused() {
    let mut result = fresh();
    let target = &raw mut result;
    let values = CAMBER_DEG.as_ptr();
    let not_finite = [0.1, f64::NAN];
    for (values, count, target, status) in [
        (ptr::null(), 0, target, WA_NULL_POINTER),
        (values, 12, ptr::null_mut(), WA_NULL_POINTER),
        (values, usize::MAX, target, WA_BAD_LENGTH),
        (values, usize::MAX / 8, target, WA_BAD_LENGTH),
        (values, 1, target, WA_OUT_OF_RANGE),
        (values, 0, target, WA_OUT_OF_RANGE),
        (not_finite.as_ptr(), 2, target, WA_NOT_FINITE),
    ] {
        // SAFETY: null, or buffers of our own with their lengths, or a length that is refused by itself.
        let (given, error) = call(|error| unsafe { wa_repeatability(values, count, target, error) });
        assert_eq!(given, status, "{}", message(&error));
    }
    assert_eq!(result.mean.to_bits(), 7_f64.to_bits());
    result.size = 4097;
    // SAFETY: a size that is refused before anything is written.
    let (given, _) = call(|error| unsafe { wa_repeatability(values, 12, &raw mut result, error) });
    assert_eq!(given, WA_BAD_STRUCT_SIZE);
}

fn grouped(sizes: &[usize]) -> impl Fn(*mut c_char, usize, *mut usize, *mut WaError) -> i32 {
    move |result, capacity, length, error| {
        // SAFETY: buffers of our own, with their own lengths, or lengths that are refused by themselves.
        unsafe { wa_one_way_json(CAMBER_DEG.as_ptr(), sizes.as_ptr(), sizes.len(), result, capacity, length, error) }
    }
}

#[test]
fn groups_are_the_cores() {
    let [first, second, third] = [&CAMBER_DEG[..3], &CAMBER_DEG[3..8], &CAMBER_DEG[8..]];
    in_two_calls(grouped(&[3, 5, 4])).gave(&json(&one_way(&[first, second, third]).unwrap()));
    let refused = |sizes: &[usize], status, words| Call::new(CAPACITY, grouped(sizes)).refused(status, words);
    refused(&[12], WA_OUT_OF_RANGE, "number of groups");
    refused(&[], WA_OUT_OF_RANGE, "number of groups");
    refused(&[6, 0, 6], WA_OUT_OF_RANGE, "number of values in a group");
    refused(&[1, 1], WA_OUT_OF_RANGE, "largest group");
    refused(&[6, usize::MAX], WA_BAD_LENGTH, "values");
    refused(&[usize::MAX / 16, 6], WA_BAD_LENGTH, "values");
    let call = |values: *const f64, sizes: *const usize, count| {
        Call::new(CAPACITY, |result, capacity, length, error| {
            // SAFETY: null, or buffers of our own, or a length that is refused by itself.
            unsafe { wa_one_way_json(values, sizes, count, result, capacity, length, error) }
        })
    };
    let sizes = [6, 6];
    call(ptr::null(), sizes.as_ptr(), 2).refused(WA_NULL_POINTER, "values");
    call(CAMBER_DEG.as_ptr(), ptr::null(), 2).refused(WA_NULL_POINTER, "group_sizes");
    call(CAMBER_DEG.as_ptr(), sizes.as_ptr(), usize::MAX).refused(WA_BAD_LENGTH, "group_sizes");
}

#[test]
fn crossed_studies_are_the_cores() {
    let study = |counts: [usize; 3], pool_above_p, tolerance: *const f64| {
        move |result, capacity, length, error| {
            let ([cars, operators, repeats], values) = (counts, CAMBER_DEG.as_ptr());
            // SAFETY: buffers of our own, with their own lengths, or counts that are refused by themselves.
            unsafe {
                wa_crossed_json(
                    values,
                    cars,
                    operators,
                    repeats,
                    pool_above_p,
                    tolerance,
                    result,
                    capacity,
                    length,
                    error,
                )
            }
        }
    };
    let (width, nan) = (0.2, f64::NAN);
    let expected: Vec<Vec<&[f64]>> = CAMBER_DEG.chunks(4).map(|car| car.chunks(2).collect()).collect();
    let given = in_two_calls(study([3, 2, 2], 0.25, &raw const width));
    given.gave(&json(&crossed(&expected, 0.25, Some(0.2)).unwrap()));
    in_two_calls(study([3, 2, 2], 1.0, ptr::null())).gave(&json(&crossed(&expected, 1.0, None).unwrap()));
    // Other counts, so that none can stand for its neighbour.
    let expected: Vec<Vec<&[f64]>> = CAMBER_DEG.chunks(6).map(|car| car.chunks(3).collect()).collect();
    in_two_calls(study([2, 2, 3], 0.25, ptr::null())).gave(&json(&crossed(&expected, 0.25, None).unwrap()));

    let refused = |counts, pool_above_p, tolerance, status, words| {
        Call::new(CAPACITY, study(counts, pool_above_p, tolerance)).refused(status, words);
    };
    refused([0, 2, 2], 0.25, ptr::null(), WA_OUT_OF_RANGE, "cars: number out of range: 0, at least 2 needed");
    refused([usize::MAX, 0, 2], 0.25, ptr::null(), WA_OUT_OF_RANGE, "operators");
    refused([usize::MAX, 2, 1], 0.25, ptr::null(), WA_OUT_OF_RANGE, "repeats");
    refused([usize::MAX, 2, 2], 0.25, ptr::null(), WA_BAD_LENGTH, "values");
    refused([usize::MAX / 16, 2, 2], 0.25, ptr::null(), WA_BAD_LENGTH, "values");
    refused([3, 2, 2], 2.0, ptr::null(), WA_OUT_OF_RANGE, "pool_above_p");
    refused([3, 2, 2], 0.25, &raw const nan, WA_NOT_FINITE, "tolerance");
}
