// An alignment in C#: reads a session, measures it by the C library, and prints every reading that a technician asks for.
//
//   mcs -out:Align.exe Align.cs && LD_LIBRARY_PATH=FOLDER_OF_THE_LIBRARY mono Align.exe SESSION.json
//
//   Align.exe SESSION.json            the report; examples/pulling-car.json is the invented demo car
//   Align.exe SESSION.json --values   every reading by its path, to the last digit
//   Align.exe --sizes                 the size of each struct, to be compared with sizeof in C: alignment-ffi/abi.txt
//
// The exit status is 1 when the car cannot be measured, 2 when the program was not called as it must be.

using System;
using System.Globalization;
using System.IO;
using System.Runtime.InteropServices;
using System.Text;

/// <summary>What of wheel_alignment.h this program uses. The header says what everything means.</summary>
static class WheelAlignment
{
    // libwheel_alignment.so, wheel_alignment.dll or libwheel_alignment.dylib.
    const string Library = "wheel_alignment";

    public const int Success = 0;
    public const uint AbiVersion = 0;

    // size_t and uintptr_t are as wide as a pointer; all functions are cdecl.

    [StructLayout(LayoutKind.Sequential)]
    public struct Error
    {
        public UIntPtr size;
        public int code;
        public int stage;
        public int station;
        public int wheel;
        public double value;
        public double minimum;
        public double maximum;
        [MarshalAs(UnmanagedType.ByValArray, SizeConst = 512)] public byte[] message;

        /// <summary>The message, UTF-8 with a NUL at the end.</summary>
        public string Message
        {
            get { return Encoding.UTF8.GetString(message, 0, Math.Max(0, Array.IndexOf(message, (byte)0))); }
        }
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct WheelReadings
    {
        public double camber_deg;
        public double toe_deg;
        public double toe_to_centreline_deg;
        [MarshalAs(UnmanagedType.ByValArray, SizeConst = 3)] public double[] centre_mm;
        [MarshalAs(UnmanagedType.ByValArray, SizeConst = 3)] public double[] spindle;
        public double runout_deg;
        public double rolling_radius_mm;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct Wheels
    {
        public WheelReadings fl;
        public WheelReadings fr;
        public WheelReadings rl;
        public WheelReadings rr;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct AxleReadings
    {
        public double total_toe_deg;
        public double cross_camber_deg;
        public double track_mm;
        public double track_at_ground_mm;
        public double setback_deg;
        public double setback_mm;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct Axles
    {
        public AxleReadings front;
        public AxleReadings rear;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct ChassisReadings
    {
        public double thrust_angle_deg;
        public double wheelbase_left_mm;
        public double wheelbase_right_mm;
        public double wheelbase_difference_mm;
        public double diagonal_fl_rr_mm;
        public double diagonal_fr_rl_mm;
        public double diagonal_difference_mm;
        public double track_difference_mm;
        public double axle_offset_mm;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct SteeringAxisReadings
    {
        public double caster_deg;
        public double sai_deg;
        public double included_angle_deg;
        public double caster_trail_mm;
        public double scrub_radius_mm;
        public double caster_trail_in_wheel_plane_mm;
        public double scrub_radius_in_wheel_plane_mm;
        public double caster_to_body_deg;
        public double sai_to_body_deg;
        [MarshalAs(UnmanagedType.ByValArray, SizeConst = 3)] public double[] axis_direction;
        [MarshalAs(UnmanagedType.ByValArray, SizeConst = 3)] public double[] axis_point_mm;
        public double residual_deg;
        public double residual_mm;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct SteeringReadings
    {
        public SteeringAxisReadings left;
        public SteeringAxisReadings right;
        public double ahead_error_deg;
        public double cross_caster_deg;
        public double cross_sai_deg;
        public double sweep_range_deg;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct TurnReadings
    {
        public double inner_deg;
        public double outer_deg;
        public double toe_out_deg;
        public double ackermann_deg;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct LockReadings
    {
        public double left_deg;
        public double right_deg;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct TurnsReadings
    {
        public TurnReadings left_turn;
        public TurnReadings right_turn;
        public LockReadings lock_left;
        public LockReadings lock_right;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct Alignment
    {
        public UIntPtr size;
        [MarshalAs(UnmanagedType.ByValArray, SizeConst = 2)] public ulong[] present;
        public Wheels wheels;
        public Axles axles;
        public ChassisReadings chassis;
        public SteeringReadings steering;
        public TurnsReadings turns;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct Turn
    {
        public int wheel;
        public double angle_deg;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct Reference
    {
        public int centreline;
        public int datum;
        public Turn turn;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct Fit
    {
        public int present;
        public uint steps;
        public double chi_squared;
        public double degrees_of_freedom;
        public double p_value;
    }

    [StructLayout(LayoutKind.Sequential)]
    public struct Measurement
    {
        public UIntPtr size;
        public uint warnings;
        public int method;
        public Reference reference;
        [MarshalAs(UnmanagedType.ByValArray, SizeConst = 3)] public double[] datum_normal;
        public Fit fit;
        public Alignment alignment;
    }

    [DllImport(Library, CallingConvention = CallingConvention.Cdecl)]
    static extern uint wa_abi_version();

    [DllImport(Library, CallingConvention = CallingConvention.Cdecl)]
    static extern IntPtr wa_status_name(int status);

    [DllImport(Library, CallingConvention = CallingConvention.Cdecl)]
    static extern UIntPtr wa_reading_count();

    [DllImport(Library, CallingConvention = CallingConvention.Cdecl)]
    static extern IntPtr wa_reading_path(UIntPtr position);

    [DllImport(Library, CallingConvention = CallingConvention.Cdecl)]
    static extern int wa_measure_session_json(
        byte[] session_json, UIntPtr session_length, ref Measurement measurement, ref Error error);

    [DllImport(Library, CallingConvention = CallingConvention.Cdecl)]
    static extern int wa_measure_json(
        byte[] session_json, UIntPtr session_length, byte[] result_json, UIntPtr result_capacity,
        ref UIntPtr result_length, ref Error error);

    [DllImport(Library, CallingConvention = CallingConvention.Cdecl)]
    static extern int wa_alignment_values(ref Alignment alignment, double[] values, UIntPtr capacity, ref Error error);

    public static UIntPtr SizeOf<Struct>()
    {
        return (UIntPtr)(ulong)Marshal.SizeOf(typeof(Struct));
    }

    static Error NewError()
    {
        return new Error { size = SizeOf<Error>(), message = new byte[512] };
    }

    static void Check(int status, ref Error error)
    {
        if (status != Success)
        {
            throw new AlignmentException(Marshal.PtrToStringAnsi(wa_status_name(status)), error);
        }
    }

    public static bool IsOfThisInterface()
    {
        return wa_abi_version() == AbiVersion;
    }

    public static Measurement Measure(byte[] sessionJson)
    {
        var error = NewError();
        var measurement = new Measurement { size = SizeOf<Measurement>() };
        Check(wa_measure_session_json(sessionJson, (UIntPtr)(ulong)sessionJson.Length, ref measurement, ref error), ref error);
        return measurement;
    }

    public static string MeasureJson(byte[] sessionJson)
    {
        var error = NewError();
        var result = new byte[1 << 20];
        var length = UIntPtr.Zero;
        Check(wa_measure_json(sessionJson, (UIntPtr)(ulong)sessionJson.Length, result, (UIntPtr)(ulong)result.Length,
                              ref length, ref error), ref error);
        return Encoding.UTF8.GetString(result, 0, (int)length);
    }

    public static double[] Values(Alignment alignment)
    {
        var error = NewError();
        var values = new double[(int)wa_reading_count()];
        Check(wa_alignment_values(ref alignment, values, (UIntPtr)(ulong)values.Length, ref error), ref error);
        return values;
    }

    public static string Path(int position)
    {
        return Marshal.PtrToStringAnsi(wa_reading_path((UIntPtr)(ulong)position));
    }
}

/// <summary>What the library refused; the message names the place, the figure, the bound and the remedy.</summary>
class AlignmentException : Exception
{
    public readonly string Name;
    public readonly WheelAlignment.Error Error;

    public AlignmentException(string name, WheelAlignment.Error error) : base(error.Message)
    {
        Name = name;
        Error = error;
    }
}

static class Align
{
    /// <summary>A row of the report: a dash where a reading is absent.</summary>
    static void Row(string name, string unit, params double[] values)
    {
        var digits = unit == "deg" ? 2 : 1;
        var line = new StringBuilder(name.PadRight(34));
        foreach (var value in values)
        {
            var shown = Math.Abs(value) < (digits == 2 ? 0.005 : 0.05) ? 0.0 : value;
            line.Append((double.IsNaN(value)
                ? "-"
                : shown.ToString("F" + digits, CultureInfo.InvariantCulture) + " " + unit).PadLeft(14));
        }
        Console.WriteLine(line);
    }

    static void Heading(string name, params string[] columns)
    {
        var line = new StringBuilder(name.PadRight(34));
        foreach (var column in columns)
        {
            line.Append(column.PadLeft(14));
        }
        Console.WriteLine(line);
    }

    static void Report(WheelAlignment.Alignment car)
    {
        var w = car.wheels;
        var a = car.axles;
        var c = car.chassis;
        var s = car.steering;
        var t = car.turns;

        Heading("Wheels", "fl", "fr", "rl", "rr");
        Row("Camber, + top outward", "deg", w.fl.camber_deg, w.fr.camber_deg, w.rl.camber_deg, w.rr.camber_deg);
        Row("Toe (1), + toe-in", "deg", w.fl.toe_deg, w.fr.toe_deg, w.rl.toe_deg, w.rr.toe_deg);
        Row("Runout of the clamp", "deg", w.fl.runout_deg, w.fr.runout_deg, w.rl.runout_deg, w.rr.runout_deg);
        Console.WriteLine("(1) front: to the thrust line; rear: to the centreline\n");

        Heading("Axles", "front", "rear");
        Row("Total toe", "deg", a.front.total_toe_deg, a.rear.total_toe_deg);
        Row("Camber, left minus right", "deg", a.front.cross_camber_deg, a.rear.cross_camber_deg);
        Row("Setback, + right further rearward", "mm", a.front.setback_mm, a.rear.setback_mm);
        Row("Track at the wheel centres", "mm", a.front.track_mm, a.rear.track_mm);
        Console.WriteLine();

        Heading("Chassis", "left", "right");
        Row("Wheelbase", "mm", c.wheelbase_left_mm, c.wheelbase_right_mm);
        Row("Thrust angle, + to the right", "deg", c.thrust_angle_deg);
        Console.WriteLine();

        Heading("Steering", "left", "right", "left - right");
        Row("Caster, + top rearward", "deg", s.left.caster_deg, s.right.caster_deg, s.cross_caster_deg);
        Row("SAI, + top inboard", "deg", s.left.sai_deg, s.right.sai_deg, s.cross_sai_deg);
        Row("Included angle, SAI + camber", "deg", s.left.included_angle_deg, s.right.included_angle_deg);
        Row("Caster trail, + axis ahead", "mm", s.left.caster_trail_mm, s.right.caster_trail_mm);
        Row("Scrub radius, + axis inboard", "mm", s.left.scrub_radius_mm, s.right.scrub_radius_mm);
        Console.WriteLine();

        Heading("Turns, inner wheel at 20 deg", "left turn", "right turn");
        Row("Toe-out on turns", "deg", t.left_turn.toe_out_deg, t.right_turn.toe_out_deg);
        Row("Ideal by Ackermann", "deg", t.left_turn.ackermann_deg, t.right_turn.ackermann_deg);
        Console.WriteLine();

        Heading("Full lock, + to the left", "left wheel", "right wheel");
        Row("Lock left", "deg", t.lock_left.left_deg, t.lock_left.right_deg);
        Row("Lock right", "deg", t.lock_right.left_deg, t.lock_right.right_deg);
    }

    /// <summary>The bits say what is weak; the JSON has a sentence for each, with the place and the figure.</summary>
    static void Warn(byte[] sessionJson, uint warnings)
    {
        if (warnings == 0)
        {
            Console.WriteLine("\nNo warnings.");
            return;
        }
        Console.WriteLine("\nWarnings:");
        const string key = "\"message\": \"";
        var result = WheelAlignment.MeasureJson(sessionJson);
        for (var at = result.IndexOf(key, StringComparison.Ordinal); at >= 0;
             at = result.IndexOf(key, at, StringComparison.Ordinal))
        {
            var sentence = new StringBuilder("- ");
            for (at += key.Length; at < result.Length && result[at] != '"'; at += 1)
            {
                if (result[at] == '\\')
                {
                    at += 1;
                }
                sentence.Append(result[at]);
            }
            Console.WriteLine(sentence);
        }
    }

    static void Sizes()
    {
        Console.WriteLine("wa_error " + WheelAlignment.SizeOf<WheelAlignment.Error>());
        Console.WriteLine("wa_wheel_readings " + WheelAlignment.SizeOf<WheelAlignment.WheelReadings>());
        Console.WriteLine("wa_axle_readings " + WheelAlignment.SizeOf<WheelAlignment.AxleReadings>());
        Console.WriteLine("wa_chassis_readings " + WheelAlignment.SizeOf<WheelAlignment.ChassisReadings>());
        Console.WriteLine("wa_steering_readings " + WheelAlignment.SizeOf<WheelAlignment.SteeringReadings>());
        Console.WriteLine("wa_turns_readings " + WheelAlignment.SizeOf<WheelAlignment.TurnsReadings>());
        Console.WriteLine("wa_alignment " + WheelAlignment.SizeOf<WheelAlignment.Alignment>());
        Console.WriteLine("wa_reference " + WheelAlignment.SizeOf<WheelAlignment.Reference>());
        Console.WriteLine("wa_fit " + WheelAlignment.SizeOf<WheelAlignment.Fit>());
        Console.WriteLine("wa_measurement " + WheelAlignment.SizeOf<WheelAlignment.Measurement>());
    }

    static int Main(string[] arguments)
    {
        Console.OutputEncoding = new UTF8Encoding(false);
        if (arguments.Length == 1 && arguments[0] == "--sizes")
        {
            Sizes();
            return 0;
        }
        var values = arguments.Length == 2 && arguments[1] == "--values";
        if (arguments.Length != 1 && !values)
        {
            Console.Error.WriteLine("usage: Align.exe SESSION.json [--values]");
            return 2;
        }
        try
        {
            if (!WheelAlignment.IsOfThisInterface())
            {
                Console.Error.WriteLine("the library is of another interface than this program");
                return 2;
            }
            var sessionJson = File.ReadAllBytes(arguments[0]);
            var measurement = WheelAlignment.Measure(sessionJson);
            if (values)
            {
                var list = WheelAlignment.Values(measurement.alignment);
                for (var at = 0; at < list.Length; at += 1)
                {
                    Console.WriteLine(WheelAlignment.Path(at) + " "
                        + (double.IsNaN(list[at]) ? "-" : list[at].ToString("R", CultureInfo.InvariantCulture)));
                }
                return 0;
            }
            Report(measurement.alignment);
            Warn(sessionJson, measurement.warnings);
            Console.WriteLine(
                "\nReadings are no licence to drive: the vehicle maker's procedure and figures, local codes and licensed\n"
                + "practice decide. Secure the car before anybody lifts, rolls or steers it.");
            return 0;
        }
        catch (AlignmentException error)
        {
            Console.Error.WriteLine("The car cannot be measured (" + error.Name + ").\n" + error.Message);
            return 1;
        }
        catch (Exception error)
        {
            Console.Error.WriteLine(error.Message);
            return 2;
        }
    }
}
