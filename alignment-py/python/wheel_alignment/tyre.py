"""Tyre sizes: from the code on the sidewall to lengths.

The overall diameter is that of the new tyre without load, of use as the reference
diameter of a toe length; the loaded radius is less than half of it.
"""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment import _native
from wheel_alignment._values import Value


@dataclass(frozen=True, slots=True, eq=False)
class TyreSize(Value):
    """A tyre size, from its code.

    Attributes
    ----------
    section_width_mm : float
        Nominal section width.
    aspect_ratio_percent : float
        Nominal aspect ratio: section height over section width, in percent.
    rim_diameter_mm : float
        Nominal rim diameter, as the code's inches.
    section_height_mm : float
        Section height: width times aspect ratio.
    overall_diameter_mm : float
        Overall diameter: rim diameter plus two section heights.
    """

    section_width_mm: float
    aspect_ratio_percent: float
    rim_diameter_mm: float
    section_height_mm: float
    overall_diameter_mm: float


def size_from_code(code: str) -> TyreSize:
    """Find a tyre's sizes from its metric code, such as ``205/55R16``.

    Overall diameter = rim inches·25.4 + 2·width·aspect ratio/100.

    Parameters
    ----------
    code : str
        In front may stand ``P``, ``LT``, ``ST`` or ``T``; the construction is ``R``,
        ``ZR``, ``B`` or ``D``; behind the rim may stand ``C`` or ``LT``, and after a
        space the load index and speed symbol (``91V``, ``112/110R``, ``(99Y)``).
        Further markings behind those are not read. Spaces between the parts and small
        letters do no harm.

    Returns
    -------
    TyreSize
        The sizes, mm.

    Raises
    ------
    NotATyreSizeError
        ``input`` names the part that is wrong; for a number out of range with the
        figure and its bounds.

    Notes
    -----
    Source: ISO metric tyre size code.

    Examples
    --------
    >>> from wheel_alignment.tyre import size_from_code
    >>> tyre = size_from_code("P205/55 ZR16 91V")
    >>> tyre.section_width_mm, tyre.aspect_ratio_percent, tyre.rim_diameter_mm
    (205.0, 55.0, 406.4)
    >>> print(f"{tyre.overall_diameter_mm:.1f} mm")
    631.9 mm
    """
    return TyreSize(*_native.tyre_size(code))
