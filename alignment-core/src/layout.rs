//! The four wheels, the two sides and the two axles, by the names that every language uses: `fl fr rl rr`,
//! `left right`, `front rear`.

use core::fmt;

/// One of the four wheels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "lowercase"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Wheel {
    /// Front left.
    Fl,
    /// Front right.
    Fr,
    /// Rear left.
    Rl,
    /// Rear right.
    Rr,
}

impl Wheel {
    /// All four, in the order of every array of wheels.
    pub const ALL: [Self; 4] = [Self::Fl, Self::Fr, Self::Rl, Self::Rr];

    /// Its place in every array of wheels.
    pub(crate) const fn index(self) -> usize {
        self as usize
    }

    /// The side that the wheel is on.
    #[must_use]
    pub const fn side(self) -> Side {
        match self {
            Self::Fl | Self::Rl => Side::Left,
            Self::Fr | Self::Rr => Side::Right,
        }
    }

    /// The wheel at the other end of the same axle.
    #[must_use]
    pub const fn opposite(self) -> Self {
        match self {
            Self::Fl => Self::Fr,
            Self::Fr => Self::Fl,
            Self::Rl => Self::Rr,
            Self::Rr => Self::Rl,
        }
    }

    /// The wheel at the other end of the same side.
    #[must_use]
    pub const fn other_end(self) -> Self {
        match self {
            Self::Fl => Self::Rl,
            Self::Fr => Self::Rr,
            Self::Rl => Self::Fl,
            Self::Rr => Self::Fr,
        }
    }

    /// Whether it is one of the front wheels, which steer.
    pub(crate) const fn is_front(self) -> bool {
        matches!(self, Self::Fl | Self::Fr)
    }

    /// +1 in front, −1 at the rear.
    pub(crate) const fn end_sign(self) -> f64 {
        match self {
            Self::Fl | Self::Fr => 1.0,
            Self::Rl | Self::Rr => -1.0,
        }
    }

    /// The name that every language uses: `fl`, `fr`, `rl` or `rr`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fl => "fl",
            Self::Fr => "fr",
            Self::Rl => "rl",
            Self::Rr => "rr",
        }
    }
}

impl fmt::Display for Wheel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A side of the vehicle, seen by its driver.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "lowercase"))]
pub enum Side {
    /// The driver's left, +y.
    Left,
    /// The driver's right, −y.
    Right,
}

impl Side {
    /// Both, left first.
    pub const ALL: [Self; 2] = [Self::Left, Self::Right];

    /// +1 for left, −1 for right: the s of the formulas, which makes both sides read alike.
    #[must_use]
    pub const fn sign(self) -> f64 {
        match self {
            Self::Left => 1.0,
            Self::Right => -1.0,
        }
    }

    /// The other side.
    pub(crate) const fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// The front wheel on this side.
    #[must_use]
    pub const fn front_wheel(self) -> Wheel {
        match self {
            Self::Left => Wheel::Fl,
            Self::Right => Wheel::Fr,
        }
    }

    /// The rear wheel on this side.
    pub(crate) const fn rear_wheel(self) -> Wheel {
        match self {
            Self::Left => Wheel::Rl,
            Self::Right => Wheel::Rr,
        }
    }
}

/// One value per wheel.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[repr(C)] // other languages hand it over where it lies
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "schema", schemars(deny_unknown_fields, rename = "ByWheel_of_{T}"))]
pub struct ByWheel<T> {
    /// Front left.
    pub fl: T,
    /// Front right.
    pub fr: T,
    /// Rear left.
    pub rl: T,
    /// Rear right.
    pub rr: T,
}

impl<T> ByWheel<T> {
    /// Makes the value of each wheel by calling `make`.
    #[inline]
    pub fn from_fn(mut make: impl FnMut(Wheel) -> T) -> Self {
        Self { fl: make(Wheel::Fl), fr: make(Wheel::Fr), rl: make(Wheel::Rl), rr: make(Wheel::Rr) }
    }

    /// As [`from_fn`](Self::from_fn), stopping at the first failure.
    ///
    /// # Errors
    /// The first error that `make` returns.
    #[inline]
    pub fn try_from_fn<E>(mut make: impl FnMut(Wheel) -> Result<T, E>) -> Result<Self, E> {
        Ok(Self { fl: make(Wheel::Fl)?, fr: make(Wheel::Fr)?, rl: make(Wheel::Rl)?, rr: make(Wheel::Rr)? })
    }

    /// The value of one wheel.
    #[inline]
    pub const fn get(&self, wheel: Wheel) -> &T {
        match wheel {
            Wheel::Fl => &self.fl,
            Wheel::Fr => &self.fr,
            Wheel::Rl => &self.rl,
            Wheel::Rr => &self.rr,
        }
    }

    /// The value of one wheel, to change.
    #[inline]
    pub const fn get_mut(&mut self, wheel: Wheel) -> &mut T {
        match wheel {
            Wheel::Fl => &mut self.fl,
            Wheel::Fr => &mut self.fr,
            Wheel::Rl => &mut self.rl,
            Wheel::Rr => &mut self.rr,
        }
    }
}

/// One value per side.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BySide<T> {
    /// The driver's left.
    pub left: T,
    /// The driver's right.
    pub right: T,
}

impl<T> BySide<T> {
    /// Makes the value of each side by calling `make`.
    #[inline]
    pub fn from_fn(mut make: impl FnMut(Side) -> T) -> Self {
        Self { left: make(Side::Left), right: make(Side::Right) }
    }

    /// As [`from_fn`](Self::from_fn), stopping at the first failure.
    ///
    /// # Errors
    /// The first error that `make` returns.
    #[inline]
    pub fn try_from_fn<E>(mut make: impl FnMut(Side) -> Result<T, E>) -> Result<Self, E> {
        Ok(Self { left: make(Side::Left)?, right: make(Side::Right)? })
    }

    /// The value of one side.
    #[inline]
    pub const fn get(&self, side: Side) -> &T {
        match side {
            Side::Left => &self.left,
            Side::Right => &self.right,
        }
    }

    /// The value of one side, to change.
    #[inline]
    pub const fn get_mut(&mut self, side: Side) -> &mut T {
        match side {
            Side::Left => &mut self.left,
            Side::Right => &mut self.right,
        }
    }
}

/// One value per axle.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ByAxle<T> {
    /// The front axle.
    pub front: T,
    /// The rear axle.
    pub rear: T,
}

impl<T> ByAxle<T> {
    /// The value of the axle that the wheel is on.
    #[inline]
    pub const fn of_wheel(&self, wheel: Wheel) -> &T {
        match wheel {
            Wheel::Fl | Wheel::Fr => &self.front,
            Wheel::Rl | Wheel::Rr => &self.rear,
        }
    }
}
