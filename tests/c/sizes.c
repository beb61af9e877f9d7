/* Prints the size of each struct that examples/csharp/Align.cs lays out anew, in its order. */

#include "wheel_alignment.h"

#include <stdio.h>

#define PRINT(type) printf("%s %lu\n", #type, (unsigned long)sizeof(type))

int main(void)
{
    PRINT(wa_error);
    PRINT(wa_wheel_readings);
    PRINT(wa_axle_readings);
    PRINT(wa_chassis_readings);
    PRINT(wa_steering_readings);
    PRINT(wa_turns_readings);
    PRINT(wa_alignment);
    PRINT(wa_reference);
    PRINT(wa_fit);
    PRINT(wa_measurement);
    return 0;
}
