/* Poses from a game engine. */

#ifndef ENGINE_H
#define ENGINE_H

#include "wheel_alignment.h"

/* A pose as many an engine hands it over: left-handed, X right, Y up, Z forward; a quaternion in the order x, y, z, w;
 * centimetres; floats. The quaternion becomes a matrix first, in the axes of the engine, and that is mapped. */
static inline int32_t pose_from_engine(const float quaternion_xyzw[4], const float position_cm[3], wa_pose *pose,
                                       wa_error *error)
{
    const double quaternion_wxyz[4] = {quaternion_xyzw[3], quaternion_xyzw[0], quaternion_xyzw[1], quaternion_xyzw[2]};
    const double position_mm[3] = {10.0 * position_cm[0], 10.0 * position_cm[1], 10.0 * position_cm[2]};
    wa_pose in_engine;
    const int32_t status = wa_pose_from_quaternion_wxyz(quaternion_wxyz, position_mm, &in_engine, error);
    if (status != WA_SUCCESS) {
        return status;
    }
    return wa_pose_from_left_handed_y_up(&in_engine.rotation[0][0], position_mm, pose, error);
}

#endif
