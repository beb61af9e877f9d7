// The C++ wrapper: that every function of it hands on what the function of C gives, bit for bit, and that refusals come out
// as exceptions with all they say.
//
// wrapper POSES.txt SESSION.json: the same car in both. The exit status is 0 when nothing failed.

#include "wheel_alignment.hpp"

#include "engine.h"
#include "poses.h"

#include "consumer.h"

#include <cstring>
#include <limits>

namespace wa = wheel_alignment;

static bool same(double left, double right) {
    return std::memcmp(&left, &right, sizeof left) == 0;
}

static bool same(const wa_alignment& left, const wa_alignment& right) {
    const std::size_t count = wa_reading_count();
    std::vector<double> of_left(count, 1.0);
    std::vector<double> of_right(count, 2.0);
    wa::call(wa_alignment_values, &left, of_left.data(), count);
    wa::call(wa_alignment_values, &right, of_right.data(), count);
    return std::memcmp(of_left.data(), of_right.data(), count * sizeof(double)) == 0;
}

static wa::Sighting sighting(const wa_sighting& of) {
    wa::Sighting made;
    made.frames.assign(of.frames, of.frames + of.frames_count);
    return made;
}

static wa::Station station(const wa_station& of) {
    return {sighting(of.fl), sighting(of.fr), sighting(of.rl), sighting(of.rr)};
}

static std::vector<wa::Station> stations(const taken& of, int stage) {
    std::vector<wa::Station> made;
    for (std::size_t at = 0; at < of.counts[stage]; at += 1) {
        made.push_back(station(of.stations[stage][at]));
    }
    return made;
}

static wa::Session session_of_cpp(const taken& of) {
    wa::Session session;
    session.up = wa::Vector{of.rig.up[0], of.rig.up[1], of.rig.up[2]};
    std::memcpy(session.choices.clamp_standoff_mm, of.rig.clamp_standoff_mm, sizeof of.rig.clamp_standoff_mm);
    std::memcpy(session.choices.loaded_radius_mm, of.rig.loaded_radius_mm, sizeof of.rig.loaded_radius_mm);
    session.pose_noise = of.rig.pose_noise;
    session.rolling = stations(of, WA_STAGE_ROLLING);
    session.ahead = station(of.stations[WA_STAGE_AHEAD][0]);
    session.sweep = stations(of, WA_STAGE_SWEEP);
    session.choices.sweep_wheels_locked = 1;
    session.lock_left = station(of.stations[WA_STAGE_LOCK_LEFT][0]);
    session.lock_right = station(of.stations[WA_STAGE_LOCK_RIGHT][0]);
    return session;
}

static void test_absent() {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(!wa::present(nan) && wa::present(0.0) == 0.0);
    CHECK(wa::optional(std::nullopt).present == 0 && wa::optional(1.5).present == 1);
    CHECK(wa::present(wa::optional(1.5)) == 1.5 && !wa::present(wa::optional(std::nullopt)));
}

static void test_measure(const taken& of, std::string_view json) {
    const wa_session plain = session_of(&of);
    wa_measurement measured;
    wa_error error = fresh_error();
    measured.size = sizeof measured;
    CHECK(wa_measure(&plain, &measured, &error) == WA_SUCCESS);

    wa::Session session = session_of_cpp(of);
    CHECK(same(wa::measure(session).alignment, measured.alignment));
    CHECK(same(wa::measure(json).alignment, measured.alignment));
    CHECK(same(wa::measure(wa::to_json(session)).alignment, measured.alignment));
    CHECK(same(wa::propagate(session).measurement.alignment, measured.alignment));
    CHECK(same(wa::get(measured.alignment, "steering.left.caster_deg").value(), measured.alignment.steering.left.caster_deg));

    const std::string result = wa::measure_json(json);
    CHECK(result.front() == '{' && result.find('\0') == std::string::npos);
    CHECK(wa::assess_json(json).find("\"verdicts\": null") != std::string::npos);
    CHECK(wa::assess_json(json, R"({"format": "alignment-specification/1",
        "limits": {"wheels.fl.camber_deg": {"max": 0.0}}})").find("\"overall\": \"conforms\"") != std::string::npos);
    CHECK(wa::call_json(wa_uncertainty_budget_json, json.data(), json.size(), "steering.left.caster_deg").front() == '[');
    // A result that is longer than the first buffer.
    wa::Session many = session;
    many.ahead.fl.frames.assign(1000, session.ahead.fl.frames[0]);
    const std::string long_text = wa::to_json(many);
    CHECK(long_text.size() > std::size_t{1} << 17 && long_text.back() == '}');

    // All that a session may point to arrives.
    session.note = "invented";
    session.input_uncertainty.emplace().up_deg = 0.005;
    session.ride_height_mm = {600.0, 600.0, 610.0, 610.0};
    session.runway_mm.emplace();
    for (std::size_t wheel = 0; wheel < 4; wheel += 1) {
        const double* target_mm = of.poses[WA_STAGE_AHEAD][0][wheel].translation_mm;
        (*session.runway_mm)[wheel] = {target_mm[0], target_mm[1], 0.25};
    }
    session.choices.reference.datum = WA_DATUM_RUNWAY;
    wa_camera camera{};
    camera.rig_from_camera.rotation[0][0] = camera.rig_from_camera.rotation[1][1] = 1.0;
    camera.rig_from_camera.rotation[2][2] = 1.0;
    camera.wheels[WA_WHEEL_FL] = 1;
    session.cameras = {camera};
    session.ahead.at(WA_WHEEL_RR).covariance.emplace();
    for (std::size_t axis = 0; axis < 6; axis += 1) {
        session.ahead.rr.covariance->covariance[axis][axis] = 1e-4;
    }
    const std::string all = wa::to_json(session);
    for (const char* words : {"\"note\": \"invented\"", "\"up_deg\": 0.005", "610.0", "0.25", "\"runway\"",
                              "\"rig_from_camera\"", "\"covariance\""}) {
        CHECK(all.find(words) != std::string::npos);
    }
    CHECK(wa::present(wa::measure(session).alignment.steering.left.caster_to_body_deg).has_value());

    // A blocked wheel is an empty optional.
    for (wa::Station& of_sweep : session.sweep) {
        of_sweep.fr = {};
    }
    const wa_measurement blocked = wa::measure(session);
    CHECK((blocked.warnings & WA_WARNING_WHEEL_BLOCKED) != 0);
    CHECK(!wa::get(blocked.alignment, "steering.right.caster_deg"));
    CHECK(wa::get(blocked.alignment, "steering.left.caster_deg").has_value());
}

static void test_ahead(const taken& of) {
    wa::Session session = session_of_cpp(of);
    const wa::OfWheels<double> standoff{of.rig.clamp_standoff_mm[0], of.rig.clamp_standoff_mm[1],
                                        of.rig.clamp_standoff_mm[2], of.rig.clamp_standoff_mm[3]};
    const auto clamps = wa::from_rolling(session.rolling, *session.up, standoff, {308.0, 308.0});
    const auto compensation = wa::all_wheels(clamps);
    wa::OfWheels<wa_pose> poses{};
    for (std::size_t wheel = 0; wheel < 4; wheel += 1) {
        poses[wheel] = of.poses[WA_STAGE_AHEAD][0][wheel];
    }
    wa_ahead_readings_result readings = wa::ahead_readings(compensation, poses, *session.up, {308.0, 308.0});
    const wa_measurement measured = wa::measure(session);
    CHECK(std::fabs(readings.wheels.fl.camber_deg - measured.alignment.wheels.fl.camber_deg) < 1e-9);
    CHECK(std::fabs(readings.chassis.thrust_angle_deg - measured.alignment.chassis.thrust_angle_deg) < 1e-9);
}

template <class Job>
static void refused(Job job, int32_t code) {
    try {
        job();
        CHECK(!"refused");
    } catch (const wa::Error& error) {
        if (error.code() != code) {
            std::printf("%s, not %s: %s\n", error.name(), wa_status_name(code), error.what());
        }
        CHECK(error.code() == code);
        CHECK(error.what()[0] != '\0');
    }
}

static void test_errors(const taken& of) {
    wa::Session session = session_of_cpp(of);
    session.rolling[1].fl.frames[0].rotation[0][0] = 3.0;
    try {
        wa::measure(session);
        CHECK(!"refused");
    } catch (const std::runtime_error& caught) {
        const auto* error = dynamic_cast<const wa::Error*>(&caught);
        CHECK(error != nullptr && error->code() == WA_NOT_A_ROTATION && error->stage() == WA_STAGE_ROLLING);
        CHECK(error != nullptr && error->station() == 1 && error->wheel() == WA_WHEEL_FL);
        CHECK(error != nullptr && error->value() > 1e-6 && error->maximum() == 1e-6 && !error->minimum());
        CHECK(std::string_view(caught.what()).find("rolling[1].fl") != std::string_view::npos);
    }
    refused([] { wa::measure(wa::Session()); }, WA_MISSING_INPUT);
    refused([] { wa::measure(std::string_view("{}")); }, WA_NOT_A_SESSION);
    refused([] { wa::measure_json(std::string_view()); }, WA_NULL_POINTER);
    refused([] { wa::from_rolling({}, {0.0, 0.0, 1.0}, {}); }, WA_TOO_FEW_STATIONS);
    refused([] { wa::all_wheels(wa::sized<wa_clamp_compensation>()); }, WA_WHEEL_NOT_SEEN);
    refused([] { wa::ahead_readings({}, {}, {0.0, 0.0, 1.0}); }, WA_NOT_UNIT_LENGTH);
    double angle_deg = 0.0;
    refused([&] { wa::call(wa_angle_from_side_slip_deg, 2000.0, &angle_deg); }, WA_LENGTH_OUT_OF_RANGE);
    wa::call(wa_angle_from_side_slip_deg, 1.0, &angle_deg);
    CHECK(std::fabs(angle_deg - 0.057296) < 1e-6);
    CHECK(wa::sized<wa_plan>().roll_stations == 5 && wa::sized<wa_trials>().probability == 0.95);
    CHECK(wa::sized<wa_live_settings>().stale_after_s == 1.0 && wa::sized<wa_live_settings>().knocked_mm == 1.0);
    CHECK(wa::sized<wa_normal_tolerances>().setback_mm == 6.0 && wa::sized<wa_normal_tolerances>().coverage_factor == 2.0);
}

// The pose that an engine would hand over, left-handed, Y up, in centimetres: what pose_from_engine turns back.
static void to_engine(const wa_pose& pose, float quaternion_xyzw[4], float position_cm[3]) {
    // Of right, up, forward: the axis of the rig, and its sign.
    static constexpr int AXIS[3] = {1, 2, 0};
    static constexpr double SIGN[3] = {-1.0, 1.0, 1.0};
    double r[3][3];
    for (int row = 0; row < 3; row += 1) {
        position_cm[row] = static_cast<float>(SIGN[row] * pose.translation_mm[AXIS[row]] / 10.0);
        for (int column = 0; column < 3; column += 1) {
            r[row][column] = SIGN[row] * SIGN[column] * pose.rotation[AXIS[row]][AXIS[column]];
        }
    }
    // 4·q·qᵀ: its row with the largest diagonal is the quaternion, but for its length.
    const double squares[4][4] = {
        {1.0 + r[0][0] - r[1][1] - r[2][2], r[1][0] + r[0][1], r[0][2] + r[2][0], r[2][1] - r[1][2]},
        {r[1][0] + r[0][1], 1.0 - r[0][0] + r[1][1] - r[2][2], r[2][1] + r[1][2], r[0][2] - r[2][0]},
        {r[0][2] + r[2][0], r[2][1] + r[1][2], 1.0 - r[0][0] - r[1][1] + r[2][2], r[1][0] - r[0][1]},
        {r[2][1] - r[1][2], r[0][2] - r[2][0], r[1][0] - r[0][1], 1.0 + r[0][0] + r[1][1] + r[2][2]},
    };
    int best = 0;
    for (int row = 1; row < 4; row += 1) {
        best = squares[row][row] > squares[best][best] ? row : best;
    }
    for (int column = 0; column < 4; column += 1) {
        quaternion_xyzw[column] = static_cast<float>(squares[best][column] / (2.0 * std::sqrt(squares[best][best])));
    }
}

static void through_engine(wa::Station& station) {
    for (int32_t wheel = 0; wheel < 4; wheel += 1) {
        for (wa_pose& pose : station.at(wheel).frames) {
            float quaternion_xyzw[4];
            float position_cm[3];
            to_engine(pose, quaternion_xyzw, position_cm);
            wa_error error = fresh_error();
            CHECK(pose_from_engine(quaternion_xyzw, position_cm, &pose, &error) == WA_SUCCESS);
        }
    }
}

static void test_engine(const taken& of) {
    wa::Session session = session_of_cpp(of);
    const wa_alignment plain = wa::measure(session).alignment;
    through_engine(session.ahead);
    for (wa::Station& rolled : session.rolling) {
        through_engine(rolled);
    }
    for (wa::Station& swept : session.sweep) {
        through_engine(swept);
    }
    // Floats are good to some 1e-5 deg and 1e-3 mm.
    const wa_alignment engine = wa::measure(session).alignment;
    CHECK(std::fabs(engine.wheels.fl.camber_deg - plain.wheels.fl.camber_deg) < 1e-4);
    CHECK(std::fabs(engine.wheels.rr.toe_deg - plain.wheels.rr.toe_deg) < 1e-4);
    CHECK(std::fabs(engine.chassis.wheelbase_left_mm - plain.chassis.wheelbase_left_mm) < 1e-2);
    CHECK(std::fabs(engine.steering.right.caster_deg - plain.steering.right.caster_deg) < 1e-3);
    const wa::Vector up_in_engine{0.0, 1.0, 0.0};
    wa::Vector up{};
    wa::call(wa_axes_direction, WA_AXES_LEFT_HANDED_Y_UP, up_in_engine.data(), up.data());
    CHECK(up[0] == 0.0 && up[1] == 0.0 && up[2] == 1.0);
}

int main(int argc, char** argv) {
    static taken of;
    std::size_t length = 0;
    char* json = argc == 3 ? read_file(argv[2], &length) : nullptr;
    if (json == nullptr || !read_poses(argv[1], &of)) {
        std::fprintf(stderr, "usage: wrapper POSES.txt SESSION.json\n");
        std::free(json);
        return 2;
    }
    try {
        test_absent();
        test_measure(of, std::string_view(json, length));
        test_ahead(of);
        test_errors(of);
        test_engine(of);
    } catch (const std::exception& error) {
        std::printf("thrown: %s\n", error.what());
        CHECK(!"nothing else is thrown");
    }
    std::free(json);
    return report();
}
