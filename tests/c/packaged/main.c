/* The least that shows header and library to be of one version: a formula by its textbook value, and the interface's version. */

#include <wheel_alignment.h>

#include <math.h>
#include <stdio.h>

int main(void)
{
    const double upright[3] = {0.0, 1.0, 0.0};
    double camber_deg = NAN;
    int32_t status = WA_SUCCESS;

    if (wa_abi_version() != WA_ABI_VERSION) {
        printf("the header is of version %d, the library of %d\n", (int)WA_ABI_VERSION, (int)wa_abi_version());
        return 1;
    }
    status = wa_camber_deg(upright, &camber_deg, NULL);
    if (status != WA_SUCCESS || fabs(camber_deg) > 0.0) {
        printf("%s: a level spindle has camber %g\n", wa_status_name(status), camber_deg);
        return 1;
    }
    printf("wheel_alignment %s: a level spindle has no camber\n", wa_version());
    return 0;
}
