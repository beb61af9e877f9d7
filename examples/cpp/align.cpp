// A whole alignment in C++17: reads the poses of one car, measures it, and prints every reading that a technician asks for.
//
//   align POSES.txt            the report; examples/c/pulling-car.txt is the invented demo car, poses.h describes the text
//   align POSES.txt --values   every reading by its path, to the last digit
//
// The exit status is 1 when the car cannot be measured, 2 when the program was not called as it must be.

#include "wheel_alignment.hpp"

#include <algorithm>
#include <cstdio>
#include <cstring>
#include <exception>
#include <fstream>
#include <initializer_list>
#include <iostream>
#include <sstream>

namespace wa = wheel_alignment;

namespace {

constexpr std::size_t MOST_STATIONS = 10000;

std::runtime_error not_understood(const std::string& path, int row) {
    return std::runtime_error(path + ", line " + std::to_string(row) + ": neither a pose nor what the rig knows");
}

// The stations of a stage, made as long as it takes.
wa::Station& station(std::vector<wa::Station>& stations, std::size_t number) {
    stations.resize(std::max(stations.size(), number + 1));
    return stations[number];
}

wa::Session read_poses(const std::string& path) {
    static constexpr const char* WHEELS[] = {"fl", "fr", "rl", "rr"};
    std::ifstream file(path);
    if (!file) {
        throw std::runtime_error(path + ": cannot be opened");
    }
    wa::Session session;
    std::string text;
    for (int row = 1; std::getline(file, text); row += 1) {
        std::istringstream line(text.substr(0, text.find('#')));
        std::string word;
        if (!(line >> word)) {
            continue;
        }
        if (word == "up") {
            wa::Vector& up = session.up.emplace();
            line >> up[0] >> up[1] >> up[2];
        } else if (word == "clamp_standoff_mm") {
            double* standoff = session.choices.clamp_standoff_mm;
            line >> standoff[0] >> standoff[1] >> standoff[2] >> standoff[3];
        } else if (word == "loaded_radius_mm") {
            double front = 0.0;
            double rear = 0.0;
            line >> front >> rear;
            session.choices.loaded_radius_mm[WA_AXLE_FRONT] = wa::optional(front);
            session.choices.loaded_radius_mm[WA_AXLE_REAR] = wa::optional(rear);
        } else if (word == "pose_noise") {
            wa_pose_noise& noise = session.pose_noise.emplace();
            line >> noise.rotation_deg >> noise.translation_mm;
        } else {
            std::size_t number = 0;
            std::string name;
            wa_pose pose{};
            line >> number >> name;
            for (auto& of_row : pose.rotation) {
                line >> of_row[0] >> of_row[1] >> of_row[2];
            }
            line >> pose.translation_mm[0] >> pose.translation_mm[1] >> pose.translation_mm[2];
            const auto wheel = std::find(std::begin(WHEELS), std::end(WHEELS), name) - std::begin(WHEELS);
            if (!line || wheel == 4 || number >= MOST_STATIONS) {
                throw not_understood(path, row);
            }
            if (word == "lock_left" && !session.lock_left) {
                session.lock_left.emplace();
            }
            if (word == "lock_right" && !session.lock_right) {
                session.lock_right.emplace();
            }
            wa::Station* at = word == "rolling"      ? &station(session.rolling, number)
                              : word == "ahead"      ? &session.ahead
                              : word == "sweep"      ? &station(session.sweep, number)
                              : word == "lock_left"  ? &*session.lock_left
                              : word == "lock_right" ? &*session.lock_right
                                                     : nullptr;
            if (at == nullptr) {
                throw not_understood(path, row);
            }
            at->at(static_cast<int32_t>(wheel)).frames = {pose};
        }
        if (!line) {
            throw not_understood(path, row);
        }
    }
    if (!session.sweep.empty()) {
        session.choices.sweep_wheels_locked = 1;
    }
    return session;
}

// A row of the report: a dash where a reading is absent.
void row(const char* name, std::initializer_list<double> values, const char* unit) {
    const int digits = std::strcmp(unit, "deg") == 0 ? 2 : 1;
    std::printf("%-34s", name);
    for (const double value : values) {
        char text[32] = "-";
        if (const auto reading = wa::present(value)) {
            const bool rounds_to_zero = std::fabs(*reading) < (digits == 2 ? 0.005 : 0.05);
            std::snprintf(text, sizeof text, "%.*f %s", digits, rounds_to_zero ? 0.0 : *reading, unit);
        }
        std::printf("%14s", text);
    }
    std::printf("\n");
}

void heading(const char* name, std::initializer_list<const char*> columns) {
    std::printf("%-34s", name);
    for (const char* column : columns) {
        std::printf("%14s", column);
    }
    std::printf("\n");
}

void report(const wa_alignment& car) {
    const auto& [fl, fr, rl, rr] = car.wheels;
    const auto& [front, rear] = car.axles;
    const wa_chassis_readings& chassis = car.chassis;
    const wa_steering_readings& steering = car.steering;
    const wa_steering_axis_readings& left = steering.left;
    const wa_steering_axis_readings& right = steering.right;
    const wa_turns_readings& turns = car.turns;

    heading("Wheels", {"fl", "fr", "rl", "rr"});
    row("Camber, + top outward", {fl.camber_deg, fr.camber_deg, rl.camber_deg, rr.camber_deg}, "deg");
    row("Toe (1), + toe-in", {fl.toe_deg, fr.toe_deg, rl.toe_deg, rr.toe_deg}, "deg");
    row("Runout of the clamp", {fl.runout_deg, fr.runout_deg, rl.runout_deg, rr.runout_deg}, "deg");
    std::printf("(1) front: to the thrust line; rear: to the centreline\n\n");

    heading("Axles", {"front", "rear"});
    row("Total toe", {front.total_toe_deg, rear.total_toe_deg}, "deg");
    row("Camber, left minus right", {front.cross_camber_deg, rear.cross_camber_deg}, "deg");
    row("Setback, + right further rearward", {front.setback_mm, rear.setback_mm}, "mm");
    row("Track at the wheel centres", {front.track_mm, rear.track_mm}, "mm");
    std::printf("\n");

    heading("Chassis", {"left", "right"});
    row("Wheelbase", {chassis.wheelbase_left_mm, chassis.wheelbase_right_mm}, "mm");
    row("Thrust angle, + to the right", {chassis.thrust_angle_deg}, "deg");
    std::printf("\n");

    heading("Steering", {"left", "right", "left - right"});
    row("Caster, + top rearward", {left.caster_deg, right.caster_deg, steering.cross_caster_deg}, "deg");
    row("SAI, + top inboard", {left.sai_deg, right.sai_deg, steering.cross_sai_deg}, "deg");
    row("Included angle, SAI + camber", {left.included_angle_deg, right.included_angle_deg}, "deg");
    row("Caster trail, + axis ahead", {left.caster_trail_mm, right.caster_trail_mm}, "mm");
    row("Scrub radius, + axis inboard", {left.scrub_radius_mm, right.scrub_radius_mm}, "mm");
    std::printf("\n");

    heading("Turns, inner wheel at 20 deg", {"left turn", "right turn"});
    row("Toe-out on turns", {turns.left_turn.toe_out_deg, turns.right_turn.toe_out_deg}, "deg");
    row("Ideal by Ackermann", {turns.left_turn.ackermann_deg, turns.right_turn.ackermann_deg}, "deg");
    std::printf("\n");

    heading("Full lock, + to the left", {"left wheel", "right wheel"});
    row("Lock left", {turns.lock_left.left_deg, turns.lock_left.right_deg}, "deg");
    row("Lock right", {turns.lock_right.left_deg, turns.lock_right.right_deg}, "deg");
}

// The bits of a measurement say what is weak; its JSON has a sentence for each, with the place and the figure.
void warn(const wa::Session& session, const wa_measurement& measurement) {
    if (measurement.warnings == 0) {
        std::printf("\nNo warnings.\n");
        return;
    }
    std::printf("\nWarnings:\n");
    static constexpr std::string_view KEY = "\"message\": \"";
    const std::string result = wa::measure_json(wa::to_json(session));
    for (auto at = result.find(KEY); at != std::string::npos; at = result.find(KEY, at)) {
        std::printf("- ");
        for (at += KEY.size(); at < result.size() && result[at] != '"'; at += 1) {
            if (result[at] == '\\') {
                at += 1;
            }
            std::putchar(result[at]);
        }
        std::printf("\n");
    }
}

void every_value(const wa_alignment& car) {
    for (std::size_t at = 0; at < wa_reading_count(); at += 1) {
        const char* path = wa_reading_path(at);
        if (const auto reading = wa::get(car, path)) {
            std::printf("%s %.17g\n", path, *reading);
        } else {
            std::printf("%s -\n", path);
        }
    }
}

}  // namespace

int main(int argc, char** argv) {
    const bool values = argc == 3 && std::string_view(argv[2]) == "--values";
    if (argc < 2 || (argc == 3 && !values) || argc > 3) {
        std::cerr << "usage: align POSES.txt [--values]\n";
        return 2;
    }
    if (wa_abi_version() != WA_ABI_VERSION) {
        std::cerr << "the library is of interface " << wa_abi_version() << ", this program of " << WA_ABI_VERSION << '\n';
        return 2;
    }
    try {
        const wa::Session session = read_poses(argv[1]);
        const wa_measurement measurement = wa::measure(session);
        if (values) {
            every_value(measurement.alignment);
            return 0;
        }
        report(measurement.alignment);
        warn(session, measurement);
        std::printf(
            "\nReadings are no licence to drive: the vehicle maker's procedure and figures, local codes and licensed\n"
            "practice decide. Secure the car before anybody lifts, rolls or steers it.\n");
        return 0;
    } catch (const wa::Error& error) {
        // The sentence names the place, the figure, the bound and the remedy.
        std::cerr << "The car cannot be measured (" << error.name() << ").\n" << error.what() << '\n';
        return 1;
    } catch (const std::exception& error) {
        std::cerr << error.what() << '\n';
        return 2;
    }
}
