// SPDX-License-Identifier: MIT OR Apache-2.0
//
// A thin C++17 skin on wheel_alignment.h, which says what everything means: units, axes, signs, shapes, statuses. Here are
// exceptions instead of statuses, std::optional instead of NaN, and sessions that own their poses.
//
//   wheel_alignment::Session session;
//   session.up = {0.0, 0.0, 1.0};
//   session.ahead.fl.frames = {pose};                              // and so on
//   const wa_measurement measured = wheel_alignment::measure(session);
//   if (const auto caster = wheel_alignment::present(measured.alignment.steering.left.caster_deg)) { ... }
//
// What has no function of its own here is called through call(), or call_json() where the result is text:
//
//   double angle_deg = 0.0;
//   wheel_alignment::call(wa_angle_from_side_slip_deg, 2.0, &angle_deg);
//
// An exception allocates. In a loop that must not, call the function of C, such as wa_ahead_readings, and look at its status.

#ifndef WHEEL_ALIGNMENT_HPP
#define WHEEL_ALIGNMENT_HPP

#include "wheel_alignment.h"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

namespace wheel_alignment {

// A number that is there, out of one of the library's, which are NaN when absent.
inline std::optional<double> present(double value) {
    return std::isnan(value) ? std::nullopt : std::optional<double>(value);
}

inline std::optional<double> present(const wa_optional& value) {
    return value.present == 0 ? std::nullopt : std::optional<double>(value.value);
}

// The way back, for what is handed to the library.
inline wa_optional optional(std::optional<double> value) {
    wa_optional given{};
    given.present = value.has_value() ? 1 : 0;
    given.value = value.value_or(0.0);
    return given;
}

// What a function of the library refused: its wa_error, of which what() is the message.
class Error : public std::runtime_error {
public:
    explicit Error(const wa_error& error) : std::runtime_error(error.message), error_(error) {}

    // WA_...
    int32_t code() const noexcept { return error_.code; }
    // The name of the code, as in "roll_too_small".
    const char* name() const noexcept { return wa_status_name(error_.code); }
    // WA_STAGE_...
    std::optional<int32_t> stage() const noexcept { return place(error_.stage); }
    // Counted from 0 in its stage.
    std::optional<int32_t> station() const noexcept { return place(error_.station); }
    // WA_WHEEL_...
    std::optional<int32_t> wheel() const noexcept { return place(error_.wheel); }
    // The figure seen, in the unit that the message states, and its bounds.
    std::optional<double> value() const noexcept { return present(error_.value); }
    std::optional<double> minimum() const noexcept { return present(error_.minimum); }
    std::optional<double> maximum() const noexcept { return present(error_.maximum); }

private:
    static std::optional<int32_t> place(int32_t number) noexcept {
        return number == WA_NONE ? std::nullopt : std::optional<int32_t>(number);
    }

    wa_error error_;
};

// Throws what a call left in error, unless it succeeded.
inline void check(int32_t status, const wa_error& error) {
    if (status != WA_SUCCESS) {
        throw Error(error);
    }
}

// A struct whose size is set and all else is zero, or the defaults of the library where it has any.
template <class Struct>
Struct sized() {
    Struct made{};
    made.size = sizeof(Struct);
    if constexpr (std::is_same_v<Struct, wa_session>) {
        wa_session_default(&made);
    } else if constexpr (std::is_same_v<Struct, wa_trials>) {
        wa_trials_default(&made);
    } else if constexpr (std::is_same_v<Struct, wa_plan>) {
        wa_plan_default(&made);
    } else if constexpr (std::is_same_v<Struct, wa_live_settings>) {
        wa_live_settings_default(&made);
    } else if constexpr (std::is_same_v<Struct, wa_normal_tolerances>) {
        wa_normal_tolerances_default(&made);
    }
    return made;
}

// Calls a function of the library whose last argument is a wa_error*, which is left out here.
template <class Function, class... Arguments>
void call(Function function, Arguments... arguments) {
    auto error = sized<wa_error>();
    check(function(arguments..., &error), error);
}

// Calls a function whose last arguments are result_json, result_capacity, result_length and error, which are left out here.
template <class Function, class... Arguments>
std::string call_json(Function function, Arguments... arguments) {
    // Roomy enough for most results, so that the work is done once.
    std::string result(std::size_t{1} << 16, '\0');
    std::size_t length = 0;
    auto error = sized<wa_error>();
    int32_t status = function(arguments..., result.data(), result.size() + 1, &length, &error);
    if (status == WA_BUFFER_TOO_SMALL) {
        result.resize(length);
        status = function(arguments..., result.data(), result.size() + 1, &length, &error);
    }
    check(status, error);
    result.resize(length);
    return result;
}

using Vector = std::array<double, 3>;
template <class Each>
using OfWheels = std::array<Each, 4>;  // fl, fr, rl, rr

// What the cameras saw of one wheel at one station: no frames when it was blocked.
struct Sighting {
    std::vector<wa_pose> frames;
    std::optional<wa_pose_covariance> covariance;

    wa_sighting view() const {
        wa_sighting seen{};
        seen.frames = frames.empty() ? nullptr : frames.data();
        seen.frames_count = frames.size();
        seen.covariance = covariance ? &*covariance : nullptr;
        return seen;
    }
};

struct Station {
    Sighting fl;
    Sighting fr;
    Sighting rl;
    Sighting rr;

    // By WA_WHEEL_...
    Sighting& at(int32_t wheel) {
        switch (wheel) {
        case WA_WHEEL_FL: return fl;
        case WA_WHEEL_FR: return fr;
        case WA_WHEEL_RL: return rl;
        case WA_WHEEL_RR: return rr;
        default: throw std::out_of_range("a wheel is WA_WHEEL_FL, _FR, _RL or _RR");
        }
    }

    // Points into this station.
    wa_station view() const { return wa_station{fl.view(), fr.view(), rl.view(), rr.view()}; }
};

inline std::vector<wa_station> view(const std::vector<Station>& stations) {
    std::vector<wa_station> seen;
    seen.reserve(stations.size());
    for (const Station& station : stations) {
        seen.push_back(station.view());
    }
    return seen;
}

// A session that owns what a wa_session points to.
struct Session {
    // The choices and plain numbers: compensation, rolling_body, sweep_body, sweep_wheels_locked, reference, method, joint,
    // clamp_standoff_mm, loaded_radius_mm. Its pointers and counts are set from the members below.
    wa_session choices = sized<wa_session>();
    std::optional<std::string> note;
    std::optional<Vector> up;
    std::vector<wa_camera> cameras;
    std::optional<wa_pose_noise> pose_noise;
    std::optional<wa_pose_covariance> pose_covariance;
    std::optional<wa_input_uncertainty> input_uncertainty;
    std::optional<OfWheels<double>> ride_height_mm;
    std::optional<OfWheels<Vector>> runway_mm;
    std::vector<Station> rolling;
    Station ahead;
    std::vector<Station> sweep;
    std::optional<Station> lock_left;
    std::optional<Station> lock_right;
};

// A Session as C reads it: good as long as the Session stays where it is and as it is.
class SessionView {
public:
    explicit SessionView(const Session& of)
        : rolling_(view(of.rolling)), sweep_(view(of.sweep)), session_(of.choices) {
        locks_.reserve(2);
        session_.note = of.note ? of.note->c_str() : nullptr;
        session_.up = of.up ? of.up->data() : nullptr;
        session_.cameras = of.cameras.empty() ? nullptr : of.cameras.data();
        session_.cameras_count = of.cameras.size();
        session_.pose_noise = of.pose_noise ? &*of.pose_noise : nullptr;
        session_.pose_covariance = of.pose_covariance ? &*of.pose_covariance : nullptr;
        session_.input_uncertainty = of.input_uncertainty ? &*of.input_uncertainty : nullptr;
        session_.ride_height_mm = of.ride_height_mm ? of.ride_height_mm->data() : nullptr;
        session_.runway_mm = of.runway_mm ? of.runway_mm->front().data() : nullptr;
        session_.rolling = rolling_.empty() ? nullptr : rolling_.data();
        session_.rolling_count = rolling_.size();
        session_.ahead = of.ahead.view();
        session_.sweep = sweep_.empty() ? nullptr : sweep_.data();
        session_.sweep_count = sweep_.size();
        session_.lock_left = lock(of.lock_left);
        session_.lock_right = lock(of.lock_right);
    }

    SessionView(const SessionView&) = delete;
    SessionView& operator=(const SessionView&) = delete;

    const wa_session* get() const noexcept { return &session_; }

private:
    const wa_station* lock(const std::optional<Station>& of) {
        if (!of) {
            return nullptr;
        }
        locks_.push_back(of->view());
        return &locks_.back();
    }

    std::vector<wa_station> rolling_;
    std::vector<wa_station> sweep_;
    std::vector<wa_station> locks_;
    wa_session session_;
};

// wa_measure
inline wa_measurement measure(const Session& session) {
    auto measurement = sized<wa_measurement>();
    call(wa_measure, SessionView(session).get(), &measurement);
    return measurement;
}

// wa_measure_session_json
inline wa_measurement measure(std::string_view session_json) {
    auto measurement = sized<wa_measurement>();
    call(wa_measure_session_json, session_json.data(), session_json.size(), &measurement);
    return measurement;
}

// wa_propagate
inline wa_uncertainty propagate(const Session& session) {
    auto uncertainty = sized<wa_uncertainty>();
    call(wa_propagate, SessionView(session).get(), &uncertainty);
    return uncertainty;
}

// wa_session_to_json
inline std::string to_json(const Session& session) {
    return call_json(wa_session_to_json, SessionView(session).get());
}

// wa_measure_json
inline std::string measure_json(std::string_view session_json) {
    return call_json(wa_measure_json, session_json.data(), session_json.size());
}

// wa_assess_json; an empty specification is none.
inline std::string assess_json(std::string_view session_json, std::string_view specification_json = {}) {
    const char* specification = specification_json.empty() ? nullptr : specification_json.data();
    return call_json(wa_assess_json, session_json.data(), session_json.size(), specification, specification_json.size());
}

// One reading by its path: wa_alignment_get
inline std::optional<double> get(const wa_alignment& alignment, const char* path) {
    wa_optional reading{};
    call(wa_alignment_get, &alignment, path, &reading);
    return present(reading);
}

// wa_from_rolling; loaded radii of the front and of the rear axle
inline wa_clamp_compensation from_rolling(const std::vector<Station>& rolling, const Vector& up,
                                          const OfWheels<double>& clamp_standoff_mm,
                                          const std::array<std::optional<double>, 2>& loaded_radius_mm = {},
                                          int32_t body = WA_ROLLING_BODY_TRANSLATES) {
    const std::vector<wa_station> stations = view(rolling);
    const wa_optional radii[2] = {optional(loaded_radius_mm[0]), optional(loaded_radius_mm[1])};
    auto clamps = sized<wa_clamp_compensation>();
    call(wa_from_rolling, stations.data(), stations.size(), up.data(), clamp_standoff_mm.data(),
         static_cast<const wa_optional*>(radii), body, &clamps);
    return clamps;
}

// wa_clamp_compensation_all_wheels
inline OfWheels<wa_compensation> all_wheels(const wa_clamp_compensation& clamps) {
    OfWheels<wa_compensation> compensation{};
    call(wa_clamp_compensation_all_wheels, &clamps, compensation.data());
    return compensation;
}

// wa_ahead_readings: it allocates nothing but the exception of a refusal.
inline wa_ahead_readings_result ahead_readings(const OfWheels<wa_compensation>& compensation, const OfWheels<wa_pose>& poses,
                                               const Vector& up,
                                               const std::array<std::optional<double>, 2>& loaded_radius_mm = {},
                                               int32_t centreline = WA_CENTRELINE_AXLE_MIDPOINTS) {
    const wa_optional radii[2] = {optional(loaded_radius_mm[0]), optional(loaded_radius_mm[1])};
    auto readings = sized<wa_ahead_readings_result>();
    call(wa_ahead_readings, compensation.data(), poses.data(), up.data(), static_cast<const wa_optional*>(radii), centreline,
         &readings);
    return readings;
}

}  // namespace wheel_alignment

#endif
