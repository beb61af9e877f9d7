//! Poses in every form, planes, directions, clamps of single wheels: the core's numbers to the bit.

use crate::owned::pose;
use crate::{call, message};
use alignment_core::pose::Axes;
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Error, Pose, Side, compensation, datum, session, tyre};
use std::ptr;
use wheel_alignment::*;

const NOTHING: WaPose = WaPose { rotation: [[7.0; 3]; 3], translation_mm: [7.0; 3] };

#[track_caller]
fn same(expected: Result<Pose, Error>, function: impl FnOnce(*mut WaPose, *mut WaError) -> i32) {
    let mut found = NOTHING;
    let (status, error) = call(|error| function(&raw mut found, error));
    match expected {
        Ok(expected) => {
            assert_eq!(status, WA_SUCCESS, "{}", message(&error));
            assert_eq!(format!("{found:?}"), format!("{:?}", pose(expected)));
        }
        Err(expected) => {
            assert_eq!((status, message(&error)), (expected.code.number(), expected.to_string().as_str()));
            assert_eq!(format!("{found:?}"), format!("{NOTHING:?}"));
        }
    }
}

/// A pose of a source with other axes, in C and in the core.
type OfC = unsafe extern "C" fn(*const f64, *const f64, *mut WaPose, *mut WaError) -> i32;
type OfCore = fn([[f64; 3]; 3], [f64; 3]) -> Pose;

#[test]
fn poses_of_every_form() {
    let t = [10.0, -20.0, 30.5];
    for quaternion in [[0.5_f64.sqrt(), 0.0, 0.0, 0.5_f64.sqrt()], [1.0, 1.0, 0.0, 0.0], [f64::NAN, 0.0, 0.0, 1.0]] {
        // SAFETY: arrays of our own, here and below.
        same(Pose::from_quaternion_wxyz(quaternion, t), |to, error| unsafe {
            wa_pose_from_quaternion_wxyz(quaternion.as_ptr(), t.as_ptr(), to, error)
        });
    }
    for vector in [[0.1, -0.2, 0.3], [0.0; 3], [1e9, 0.0, 0.0], [f64::INFINITY; 3]] {
        same(Pose::from_rotation_vector_rad(vector, t), |to, error| unsafe {
            wa_pose_from_rotation_vector_rad(vector.as_ptr(), t.as_ptr(), to, error)
        });
    }
    let matrix: [f64; 16] = [0.0, -1.0, 0.0, 5.0, 1.0, 0.0, 0.0, 6.0, 0.0, 0.0, 1.0, 7.0, 0.0, 0.0, 0.0, 1.0];
    same(Pose::from_matrix4_row_major(matrix), |to, error| unsafe {
        wa_pose_from_matrix4_row_major(matrix.as_ptr(), to, error)
    });
    same(Pose::from_matrix4_column_major(matrix), |to, error| unsafe {
        wa_pose_from_matrix4_column_major(matrix.as_ptr(), to, error)
    });
    let rows = [[0.0, -1.0, 0.0], [0.6, 0.0, -0.8], [0.8, 0.0, 0.6]];
    let sources: [(OfCore, OfC, Axes, i32); 4] = [
        (
            Pose::from_left_handed_y_right,
            wa_pose_from_left_handed_y_right,
            Axes::LeftHandedYRight,
            WA_AXES_LEFT_HANDED_Y_RIGHT,
        ),
        (Pose::from_left_handed_y_up, wa_pose_from_left_handed_y_up, Axes::LeftHandedYUp, WA_AXES_LEFT_HANDED_Y_UP),
        (Pose::from_right_handed_y_up, wa_pose_from_right_handed_y_up, Axes::RightHandedYUp, WA_AXES_RIGHT_HANDED_Y_UP),
        (Pose::from_z_down, wa_pose_from_z_down, Axes::ZDown, WA_AXES_Z_DOWN),
    ];
    for (expected, function, axes, number) in sources {
        same(Ok(expected(rows, t)), |to, error| unsafe {
            function(rows.as_flattened().as_ptr(), t.as_ptr(), to, error)
        });
        let mut mapped = [7.0; 3];
        let status = unsafe { wa_axes_direction(number, t.as_ptr(), mapped.as_mut_ptr(), ptr::null_mut()) };
        assert_eq!((status, mapped), (WA_SUCCESS, axes.direction(t)));
    }
    let mut mapped = [7.0; 3];
    for number in [-1, 4, i32::MAX, i32::MIN] {
        let status = unsafe { wa_axes_direction(number, t.as_ptr(), mapped.as_mut_ptr(), ptr::null_mut()) };
        assert_eq!((status, mapped), (WA_OUT_OF_RANGE, [7.0; 3]));
    }
}

#[test]
fn frames_are_averaged() {
    let frames: Vec<Pose> = (0..5)
        .map(|i| Pose::from_rotation_vector_rad([0.01 * f64::from(i), 0.0, 0.3], [f64::from(i), 2.0, 3.0]).unwrap())
        .collect();
    let of_c: Vec<WaPose> = frames.iter().copied().map(pose).collect();
    for count in [0, 1, 5] {
        same(Pose::mean(&frames[..count]), |to, error| unsafe { wa_pose_mean(of_c.as_ptr(), count, to, error) });
        let mut spread = WaSpread { frames: 7, rotation_deg: 7.0, translation_mm: 7.0 };
        same(Pose::mean_and_spread(&frames[..count]).map(|(mean, _)| mean), |to, error| unsafe {
            wa_pose_mean_and_spread(of_c.as_ptr(), count, to, &raw mut spread, error)
        });
        match Pose::mean_and_spread(&frames[..count]) {
            Ok((_, Some(expected))) => {
                assert_eq!(
                    (spread.frames, spread.rotation_deg.to_bits(), spread.translation_mm.to_bits()),
                    (expected.frames, expected.rotation_deg.to_bits(), expected.translation_mm.to_bits())
                );
            }
            Ok((_, None)) => assert!(spread.frames == 1 && spread.rotation_deg.is_nan()),
            Err(_) => assert_eq!(spread.frames, 7),
        }
    }
    // A little off: taken to the nearest rotation. Far off: refused.
    for scale in [1.0 + 1e-7, 1.1, -1.0] {
        let mut off = frames[1];
        off.rotation = off.rotation.map(|row| row.map(|v| v * scale));
        let of_c = pose(off);
        same(off.rig_from_target().map(Pose::from), |to, error| unsafe {
            wa_pose_rig_from_target(&raw const of_c, to, error)
        });
    }
}

#[test]
fn planes_directions_and_tyres() {
    let points = [[0.0, 0.0, 6.0], [2600.0, 0.0, 0.0], [0.0, 1500.0, 0.0], [2600.0, 1500.0, 0.0]];
    let mut plane = WaPlane { normal: [7.0; 3], point_mm: [7.0; 3], residual_mm: 7.0 };
    // SAFETY: arrays, strings and structs of our own, here and below.
    unsafe {
        assert_eq!(wa_plane_through(points.as_flattened().as_ptr(), 4, &raw mut plane, ptr::null_mut()), WA_SUCCESS);
        let expected = datum::plane_through(&points).unwrap();
        assert_eq!(
            (plane.normal, plane.point_mm, plane.residual_mm),
            (expected.normal, expected.point_mm, expected.residual_mm)
        );
        assert_eq!(
            wa_plane_through(points.as_flattened().as_ptr(), 2, &raw mut plane, ptr::null_mut()),
            WA_TOO_FEW_STATIONS
        );
        let (up, mut unit) = ([0.0, 6e-7, 1.0], [7.0; 3]);
        assert_eq!(wa_up_in_rig(up.as_ptr(), unit.as_mut_ptr(), ptr::null_mut()), WA_SUCCESS);
        assert_eq!(unit, session::up_in_rig(up).unwrap().to_array());
        let mut size = WaTyreSize {
            section_width_mm: 7.0,
            aspect_ratio_percent: 7.0,
            rim_diameter_mm: 7.0,
            section_height_mm: 7.0,
            overall_diameter_mm: 7.0,
        };
        assert_eq!(wa_size_from_code(c"205/55R16".as_ptr(), &raw mut size, ptr::null_mut()), WA_SUCCESS);
        assert_eq!(size.overall_diameter_mm, tyre::size_from_code("205/55R16").unwrap().overall_diameter_mm);
        assert_eq!(wa_size_from_code(c"205R".as_ptr(), &raw mut size, ptr::null_mut()), WA_NOT_A_TYRE_SIZE);
        assert_eq!(wa_size_from_code(c"\xff".as_ptr(), &raw mut size, ptr::null_mut()), WA_NOT_UTF8);
    }
}

#[test]
fn one_wheel_alone_is_compensated() {
    let session = VirtualVehicle { rig_from_vehicle: pose_of_nothing(), ..VirtualVehicle::default() }.session();
    let poses: Vec<Pose> = session.rolling.iter().map(|station| station.fl.frames()[0]).collect();
    let of_c: Vec<WaPose> = poses.iter().copied().map(pose).collect();
    let (forward, up) = ([1.0, 0.0, 0.0], [0.0, 0.0, 1.0]);
    let (side, count, nowhere) = (WA_SIDE_LEFT, of_c.len(), ptr::null_mut());
    let mut found = crate::structs::clamp_of_zeros();
    let to = &raw mut found;
    let expected = compensation::wheel_from_rolling(&poses, Side::Left, forward, up, 90.0, None).unwrap();
    // SAFETY: arrays and a struct of our own, here and below.
    unsafe {
        let (poses, forward, up) = (of_c.as_ptr(), forward.as_ptr(), up.as_ptr());
        let none = ptr::null();
        assert_eq!(wa_wheel_from_rolling(poses, count, side, forward, up, 90.0, none, to, nowhere), WA_SUCCESS);
    }
    assert_eq!(format!("{found:?}"), format!("{:?}", crate::structs::clamp(&expected)));
    // Two stations need a radius.
    let radius = 308.0;
    let expected = compensation::wheel_from_rolling(&poses[..2], Side::Left, forward, up, 90.0, Some(radius)).unwrap();
    unsafe {
        let (poses, forward, up) = (of_c.as_ptr(), forward.as_ptr(), up.as_ptr());
        let (none, radius) = (ptr::null(), &raw const radius);
        assert_eq!(wa_wheel_from_rolling(poses, 2, side, forward, up, 90.0, none, to, nowhere), WA_TOO_FEW_STATIONS);
        assert_eq!(wa_wheel_from_rolling(poses, 2, side, forward, up, 90.0, radius, to, nowhere), WA_SUCCESS);
    }
    assert_eq!(format!("{found:?}"), format!("{:?}", crate::structs::clamp(&expected)));
    let expected = compensation::wheel_from_spinning(&poses, Side::Left, forward, up, 90.0);
    let status =
        unsafe { wa_wheel_from_spinning(of_c.as_ptr(), count, side, forward.as_ptr(), up.as_ptr(), 90.0, to, nowhere) };
    assert_eq!(status, expected.map_or_else(|error| error.code.number(), |_| WA_SUCCESS));
}

fn pose_of_nothing() -> Pose {
    Pose { rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], translation_mm: [0.0; 3] }
}
