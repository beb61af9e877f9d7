"""Sessions, specifications, results and verdicts as JSON.

Keys are the fields' names. The texts are those of every language: what is written here
is read by the core, and every number keeps its last bit.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from wheel_alignment import _inputs, _native
from wheel_alignment._values import plain
from wheel_alignment.session import Session

if TYPE_CHECKING:
    from wheel_alignment._inputs import Given, SessionLike
    from wheel_alignment.alignment import Measurement
    from wheel_alignment.assessment import Assessment
    from wheel_alignment.conformity import Verdicts
    from wheel_alignment.stand import StandAssessment, StandRequirements


def session_from_json(text: str) -> Session:
    """Read a session from its JSON, format ``alignment-session/1``.

    Parameters
    ----------
    text : str
        The JSON. `Session.from_json` takes files and dicts as well.

    Raises
    ------
    NotASessionError
        Malformed JSON, an unknown or repeated key, a wrong type, a missing key, a pose
        without exactly one form of rotation: ``path``, ``line`` and ``column`` say
        where.
    ThirdAxleError
        A station has all four wheels and another.

    Examples
    --------
    >>> from wheel_alignment import NotASessionError, json
    >>> try:
    ...     json.session_from_json('{ "format": "alignment-session/1", "colour": 1 }')
    ... except NotASessionError as error:
    ...     print(error.path, error.line)
    colour 1
    """
    return Session.from_json(_text(text))


def session_to_json(session: SessionLike) -> str:
    """Write a session as JSON that reads back to the same bits; rotations as matrices.

    Parameters
    ----------
    session : Session, mapping, str or path-like
        As `measure` takes it.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> session = VirtualVehicle().session()
    >>> json.session_from_json(json.session_to_json(session)) == session
    True
    """
    if isinstance(session, Session):
        return session.to_json()
    return Session.from_json(session).to_json()


def measurement_to_json(measurement: Measurement) -> str:
    """Write a result as JSON at full precision; absent readings are null.

    Parameters
    ----------
    measurement : Measurement
        What `measure` returns.

    Examples
    --------
    >>> from wheel_alignment import json, measure
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> text = json.measurement_to_json(measure(VirtualVehicle().session()))
    >>> '"camber_deg": -0.' in text
    True
    """
    return _written(measurement)


def assessment_to_json(assessment: Assessment) -> str:
    """Write an assessment as JSON at full precision.

    A result as `measurement_to_json` writes it, with ``uncertainty``,
    ``degrees_of_freedom``, ``expanded_uncertainty`` and ``verdicts``; null what is not
    known or not asked, and infinite degrees of freedom.

    Parameters
    ----------
    assessment : Assessment
        What `assess` returns.

    Examples
    --------
    >>> from wheel_alignment import assess, json
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> text = json.assessment_to_json(assess(VirtualVehicle().session()))
    >>> '"uncertainty": null' in text  # no noise is stated
    True
    """
    return _written(assessment)


def specification_from_json(text: str) -> dict[str, object]:
    """Read a specification from its JSON, format ``alignment-specification/1``.

    Parameters
    ----------
    text : str
        The JSON.

    Returns
    -------
    dict
        The specification, checked, as `assess` and `conformity.judge_all` take it:
        every path by itself.

    Raises
    ------
    NotASpecificationError, UnknownReadingError
        ``path``, ``line`` and ``column`` say where.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> text = '''{
    ...     "format": "alignment-specification/1",
    ...     "limits": { "wheels.{fl,fr}.camber_deg": { "max": 0 } }
    ... }'''
    >>> list(json.specification_from_json(text)["limits"])
    ['wheels.fl.camber_deg', 'wheels.fr.camber_deg']
    """
    tree: dict[str, object] = json.loads(specification_to_json(_text(text)))
    return tree


def specification_to_json(specification: Given) -> str:
    """Write a specification as JSON that reads back the same.

    Every path stands by itself, in its own unit or that in which it was given, degrees
    or mm.

    Parameters
    ----------
    specification : mapping, str or path-like
        As `assess` takes it.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> text = json.specification_to_json({
    ...     "format": "alignment-specification/1",
    ...     "limits": {"wheels.{fl,fr}.camber_deg": {"max": 0}},
    ... })
    >>> json.specification_to_json(text) == text
    True
    """
    return _native.specification_json(_inputs.specification(specification))


def verdicts_to_json(verdicts: Verdicts) -> str:
    """Write verdicts as JSON at full precision. What is absent is null.

    Parameters
    ----------
    verdicts : Verdicts
        What `conformity.judge_all` returns.

    Examples
    --------
    >>> from wheel_alignment import assess, json
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> specification = {
    ...     "format": "alignment-specification/1",
    ...     "limits": {"wheels.fl.camber_deg": {"max": 0}},
    ... }
    >>> known = assess(VirtualVehicle().session(), specification)
    >>> '"overall": "conforms"' in json.verdicts_to_json(known.verdicts)
    True
    """
    return _written(verdicts)


def stand_requirements_from_json(text: str) -> StandRequirements:
    """Read where a stand is to stand from its JSON, format ``alignment-stand/1``.

    Parameters
    ----------
    text : str
        The JSON.

    Returns
    -------
    StandRequirements
        As `stand.assess` takes it.

    Raises
    ------
    NotASpecificationError
        Malformed JSON, an unknown or repeated key, a wrong type, a missing key:
        ``path``, ``line`` and ``column`` say where.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> text = '''{
    ...     "format": "alignment-stand/1",
    ...     "required": { "yaw_deg": { "nominal": 0, "minus": 0.1, "plus": 0.1 } }
    ... }'''
    >>> json.stand_requirements_from_json(text).required.yaw_deg.plus
    0.1
    """
    from wheel_alignment.stand import StandRequirements

    tree = json.loads(stand_requirements_to_json(_text(text)))
    return StandRequirements.from_dict(tree)


def stand_requirements_to_json(requirements: StandRequirements | Given) -> str:
    """Write where a stand is to stand as JSON that reads back the same.

    Parameters
    ----------
    requirements : StandRequirements, mapping, str or path-like
        As `stand.assess` takes it, degrees and mm.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> from wheel_alignment.stand import StandRequirements
    >>> text = json.stand_requirements_to_json(StandRequirements(line="centreline"))
    >>> json.stand_requirements_from_json(text).line
    'centreline'
    """
    return _native.stand_json(_inputs.stand_requirements(requirements))


def stand_assessment_to_json(assessment: StandAssessment) -> str:
    """Write the assessment of a stand as JSON at full precision.

    Parameters
    ----------
    assessment : StandAssessment
        What `stand.assess` returns.

    Examples
    --------
    >>> import numpy as np
    >>> from wheel_alignment import Pose, json
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> from wheel_alignment.stand import PlacedStand, StandRequirements, assess
    >>> stand = PlacedStand(Pose(np.eye(3), [5000, 30, 1200]))
    >>> found = assess(VirtualVehicle().session(), stand, StandRequirements())
    >>> '"standard_uncertainty": null' in json.stand_assessment_to_json(found)
    True
    """
    return _written(assessment)


def session_schema() -> str:
    """Return the JSON Schema of a session, format ``alignment-session/1``.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> "clamp_standoff_mm" in json.session_schema()
    True
    """
    return _native.schema("session")


def specification_schema() -> str:
    """Return the JSON Schema of a specification.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> "reference_diameter_mm" in json.specification_schema()
    True
    """
    return _native.schema("specification")


def record_schema() -> str:
    """Return the JSON Schema of a record, format ``alignment-record/1``.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> "inputs_sha256" in json.record_schema()
    True
    """
    return _native.schema("record")


def measurement_schema() -> str:
    """Return the JSON Schema of a result, as `measurement_to_json` writes it.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> "thrust_angle_deg" in json.measurement_schema()
    True
    """
    return _native.schema("measurement")


def assessment_schema() -> str:
    """Return the JSON Schema of an assessment, as `assessment_to_json` writes it.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> "expanded_uncertainty" in json.assessment_schema()
    True
    """
    return _native.schema("assessment")


def stand_requirements_schema() -> str:
    """Return the JSON Schema of where a stand is to stand.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> "lateral_offset_mm" in json.stand_requirements_schema()
    True
    """
    return _native.schema("stand_requirements")


def stand_assessment_schema() -> str:
    """Return the JSON Schema of what `stand_assessment_to_json` writes.

    Examples
    --------
    >>> from wheel_alignment import json
    >>> "ground_line" in json.stand_assessment_schema()
    True
    """
    return _native.schema("stand_assessment")


def _text(text: str) -> str:
    if not isinstance(text, str):
        raise TypeError(f"a JSON text is a str, not {type(text).__qualname__}")
    return text


def _written(value: object) -> str:
    return json.dumps(plain(value), indent=2, ensure_ascii=False, allow_nan=False)
