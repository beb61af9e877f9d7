"""A mechanism in the rigid-body library Pinocchio."""

from collections.abc import Collection, Mapping, Sequence

import numpy as np
import pinocchio as pin

from frames import Matrix, Vector
from mechanism import Line, Link, Mechanism, close_loops


def _placement(wxyz: Vector | Sequence[float], at_mm: Vector) -> pin.SE3:
    return pin.SE3(pin.Quaternion(*wxyz).matrix(), np.asarray(at_mm, dtype=float))


def _joint(link: Link) -> pin.JointModel:
    if link.joint == "hinge":
        return pin.JointModelRevoluteUnaligned(link.axis)
    if link.joint == "slide":
        return pin.JointModelPrismaticUnaligned(link.axis)
    if link.joint == "ball":
        return pin.JointModelSpherical()
    return pin.JointModelFreeFlyer()


class Pinocchio:
    """The mechanism as a model; loops are anchored points."""

    name = "Pinocchio"

    def __init__(self, mechanism: Mechanism) -> None:
        self._model = model = pin.Model()
        joints: dict[str | None, int] = {None: 0}
        for link in mechanism.links:
            joints[link.name] = model.addJoint(
                joints[link.parent],
                _joint(link),
                _placement(link.turned_wxyz, link.at_mm),
                link.name,
            )
        frames = {}
        for mark in mechanism.marks:
            at = _placement(mark.turned_wxyz, mark.at_mm)
            joint = joints[mark.link]
            frames[mark.name] = pin.Frame(mark.name, joint, 0, at, pin.OP_FRAME)
            model.addFrame(frames[mark.name])
        self._loops = [
            pin.PointAnchorConstraintModel(
                model,
                frames[one].parentJoint,
                frames[one].placement,
                frames[other].parentJoint,
                frames[other].placement,
            )
            for one, other in mechanism.loops
        ]
        self._data = model.createData()
        self._of_loops = [loop.createData() for loop in self._loops]
        self._q = pin.neutral(model)

    def place(self, coordinates: Mapping[str, Vector | float]) -> None:
        for name, value in coordinates.items():
            joint = self._model.joints[self._model.getJointId(name)]
            told = np.atleast_1d(value)
            if joint.nq == 7:  # here the quaternion's w comes last
                told = told[[0, 1, 2, 4, 5, 6, 3]]
            self._q[joint.idx_q : joint.idx_q + joint.nq] = told
        if self._loops:
            self._close(told=coordinates.keys())
        pin.computeJointJacobians(self._model, self._data, self._q)
        pin.updateFramePlacements(self._model, self._data)

    def _close(self, told: Collection[str]) -> None:
        model, data = self._model, self._data
        follows = np.ones(model.nv, dtype=bool)
        for name in told:
            joint = model.joints[model.getJointId(name)]
            follows[joint.idx_v : joint.idx_v + joint.nv] = False

        def gape() -> tuple[Vector, Matrix]:
            pin.computeJointJacobians(model, data, self._q)
            errors, rows = [], []
            for loop, of_loop in zip(self._loops, self._of_loops, strict=True):
                loop.calc(model, data, of_loop)
                errors.append(of_loop.constraint_position_error.copy())
                rows.append(loop.jacobian(model, data, of_loop)[:, follows])
            return np.concatenate(errors), np.vstack(rows)

        def move(step: Vector) -> None:
            whole = np.zeros(model.nv)
            whole[follows] = step
            self._q = pin.integrate(model, self._q, whole)

        close_loops(gape, move)

    def mark(self, name: str) -> tuple[Matrix, Vector]:
        placed = self._data.oMf[self._model.getFrameId(name)]
        return placed.rotation.copy(), placed.translation.copy()

    def axis(self, joint: str) -> Line:
        number = self._model.getJointId(joint)
        # The joint's column of the Jacobian: how fast its link turns, in the world.
        turning = self._data.J[3:, self._model.joints[number].idx_v].copy()
        return Line(turning, self._data.oMi[number].translation.copy())

    @staticmethod
    def quaternion_wxyz(rotation: Matrix) -> Vector:
        turned = pin.Quaternion(rotation)
        return np.array([turned.w, turned.x, turned.y, turned.z])

    @staticmethod
    def rotation_vector_rad(rotation: Matrix) -> Vector:
        # Near half a turn the logarithm of a matrix would lose digits.
        return pin.log3(pin.Quaternion(rotation))
