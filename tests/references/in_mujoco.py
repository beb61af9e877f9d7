"""A mechanism in the MuJoCo physics engine."""

from collections.abc import Collection, Mapping
from typing import Any

import mujoco
import numpy as np

from frames import Matrix, Vector
from mechanism import Line, Mechanism, close_loops

JOINTS = {
    "hinge": mujoco.mjtJoint.mjJNT_HINGE,
    "slide": mujoco.mjtJoint.mjJNT_SLIDE,
    "ball": mujoco.mjtJoint.mjJNT_BALL,
    "free": mujoco.mjtJoint.mjJNT_FREE,
}


class MuJoCo:
    """The compiled mechanism. Loops are equality constraints of the kind `connect`."""

    name = "MuJoCo"

    def __init__(self, mechanism: Mechanism) -> None:
        spec = mujoco.MjSpec()
        spec.option.jacobian = mujoco.mjtJacobian.mjJAC_DENSE
        bodies: dict[str | None, Any] = {None: spec.worldbody}
        for link in mechanism.links:
            body = bodies[link.parent].add_body(
                name=link.name, pos=link.at_mm, quat=link.turned_wxyz
            )
            # The compiler wants mass on whatever moves. No dynamics is run.
            body.explicitinertial = True
            body.mass = 1.0
            body.inertia = np.ones(3)
            joint = body.add_joint(name=link.name, type=JOINTS[link.joint])
            if link.axis is not None:
                joint.axis = link.axis
            bodies[link.name] = body
        for mark in mechanism.marks:
            bodies[mark.link].add_site(
                name=mark.name, pos=mark.at_mm, quat=mark.turned_wxyz
            )
        for one, other in mechanism.loops:
            spec.add_equality(
                type=mujoco.mjtEq.mjEQ_CONNECT,
                objtype=mujoco.mjtObj.mjOBJ_SITE,
                name1=one,
                name2=other,
            )
        self._model = spec.compile()
        self._data = mujoco.MjData(self._model)
        self._has_loops = bool(mechanism.loops)

    def place(self, coordinates: Mapping[str, Vector | float]) -> None:
        for joint, value in coordinates.items():
            self._data.joint(joint).qpos[:] = value
        if self._has_loops:
            self._close(told=coordinates.keys())
        mujoco.mj_kinematics(self._model, self._data)

    def _close(self, told: Collection[str]) -> None:
        model, data = self._model, self._data
        follows = np.ones(model.nv, dtype=bool)
        for joint in told:
            first = model.joint(joint).dofadr[0]
            follows[first : first + data.joint(joint).qvel.size] = False

        def gape() -> tuple[Vector, Matrix]:
            mujoco.mj_fwdPosition(model, data)
            jacobian = data.efc_J.reshape(data.nefc, model.nv)
            return data.efc_pos.copy(), jacobian[:, follows]

        def move(step: Vector) -> None:
            whole = np.zeros(model.nv)
            whole[follows] = step
            mujoco.mj_integratePos(model, data.qpos, whole, 1.0)

        close_loops(gape, move)

    def mark(self, name: str) -> tuple[Matrix, Vector]:
        site = self._data.site(name)
        return site.xmat.reshape(3, 3).copy(), site.xpos.copy()

    def axis(self, joint: str) -> Line:
        hinge = self._data.joint(joint)
        return Line(hinge.xaxis.copy(), hinge.xanchor.copy())

    @staticmethod
    def quaternion_wxyz(rotation: Matrix) -> Vector:
        result = np.empty(4)
        mujoco.mju_mat2Quat(result, rotation.ravel())
        return result

    @staticmethod
    def rotation_vector_rad(rotation: Matrix) -> Vector:
        result = np.empty(3)
        mujoco.mju_quat2Vel(result, MuJoCo.quaternion_wxyz(rotation), 1.0)
        return result
