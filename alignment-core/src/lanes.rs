//! One number, or one from each of several records: a formula that is written once serves both, with the same bits.
//!
//! Lanes are a register of the processor. They know nothing but the IEEE operations, never fused, in the order in which a formula names
//! them: which processor it is changes the speed and not one bit. Arc sine and arc tangent are those of the library that single numbers
//! use, on the branch that wheels keep to; elsewhere they give NaN, and the record is computed again by itself.

use crate::units;
use core::fmt::Debug;
use core::ops::{Add, BitAnd, Div, Mul, Neg, Sub};
#[cfg(feature = "simd")]
use pulp::Simd;

/// What a formula computes with: a number, or lanes of them.
pub trait Real:
    Copy
    + Debug
    + PartialEq
    + 'static
    + Neg<Output = Self>
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
{
    /// What a comparison says: one truth, or one for each record.
    type Truth: Copy + BitAnd<Output = Self::Truth>;
    /// Whether it lies between both, bounds included. NaN does not.
    #[must_use]
    fn within(self, bounds: [f64; 2]) -> Self::Truth;
    /// A number that is the same for every record.
    #[must_use]
    fn like(self, value: f64) -> Self;
    /// `then` where the number is less than the bound, `otherwise` where it is not, or where one of them is NaN.
    #[must_use]
    fn if_less(self, bound: Self, then: Self, otherwise: Self) -> Self;
    /// √self.
    #[must_use]
    fn sqrt(self) -> Self;
    /// The factor that brings a length to 1: its reciprocal; 1 for a length of zero or NaN.
    #[must_use]
    fn scale_to_one(self) -> Self;
    /// Arc sine, degrees; what lies beyond ± 1 by rounding counts as ± 1.
    #[must_use]
    fn asin_deg(self) -> Self;
    /// The angle of the point (`x`, self) from the x axis, degrees.
    #[must_use]
    fn atan2_deg(self, x: Self) -> Self;
    /// The same in radians; of lanes to the front alone.
    #[must_use]
    fn atan2_rad(self, x: Self) -> Self;
    /// √(self² + other²). The inputs are bounded, so the plain form cannot overflow.
    #[must_use]
    #[inline(always)]
    fn hypot(self, other: Self) -> Self {
        (self * self + other * other).sqrt()
    }
}

impl Real for f64 {
    type Truth = bool;

    #[inline(always)]
    fn within(self, [least, most]: [f64; 2]) -> bool {
        least <= self && self <= most
    }

    #[inline(always)]
    fn like(self, value: f64) -> Self {
        value
    }

    #[inline(always)]
    fn if_less(self, bound: Self, then: Self, otherwise: Self) -> Self {
        if self < bound { then } else { otherwise }
    }

    #[inline(always)]
    fn sqrt(self) -> Self {
        units::sqrt(self)
    }

    #[inline(always)]
    fn scale_to_one(self) -> Self {
        if self > 0.0 { 1.0 / self } else { 1.0 }
    }

    #[inline(always)]
    fn asin_deg(self) -> Self {
        units::deg_from_rad(libm::asin(self.clamp(-1.0, 1.0)))
    }

    #[inline(always)]
    fn atan2_deg(self, x: Self) -> Self {
        units::atan2_deg(self, x)
    }

    #[inline(always)]
    fn atan2_rad(self, x: Self) -> Self {
        libm::atan2(self, x)
    }
}

/// One number from each of several records: a register.
#[cfg(feature = "simd")]
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lanes<S: Simd> {
    simd: S,
    numbers: S::f64s,
}

/// Whether something holds, for each of several records.
#[cfg(feature = "simd")]
#[derive(Debug, Clone, Copy)]
pub(crate) struct Truths<S: Simd> {
    simd: S,
    holds: S::m64s,
}

#[cfg(feature = "simd")]
mod register {
    use super::{Add, BitAnd, Div, Lanes, Mul, Neg, Real, Simd, Sub, Truths};
    use crate::units::DEG_PER_RAD;
    use core::f64::consts::{FRAC_PI_2, FRAC_PI_4};

    impl<S: Simd> Lanes<S> {
        #[inline(always)]
        pub(crate) fn new(simd: S, numbers: S::f64s) -> Self {
            Self { simd, numbers }
        }

        #[inline(always)]
        pub(crate) fn splat(simd: S, value: f64) -> Self {
            Self { simd, numbers: simd.splat_f64s(value) }
        }

        /// The numbers, record by record.
        #[inline(always)]
        pub(crate) fn as_slice(&self) -> &[f64] {
            pulp::bytemuck::cast_slice(core::slice::from_ref(&self.numbers))
        }

        #[inline(always)]
        fn abs(self) -> Self {
            Self { numbers: self.simd.abs_f64s(self.numbers), ..self }
        }

        #[inline(always)]
        fn below(self, bound: f64) -> Truths<S> {
            let Self { simd, numbers } = self;
            Truths { simd, holds: simd.less_than_f64s(numbers, simd.splat_f64s(bound)) }
        }

        /// The number where it holds, and else the other.
        #[inline(always)]
        fn where_else(self, truths: Truths<S>, other: Self) -> Self {
            Self { numbers: self.simd.select_f64s(truths.holds, self.numbers, other.numbers), ..self }
        }

        /// The numbers, and this one where they are NaN.
        #[inline(always)]
        pub(crate) fn or(self, value: f64) -> Self {
            self.where_else(self.within([f64::NEG_INFINITY, f64::INFINITY]), self.like(value))
        }

        /// c₀ + x·(c₁ + x·(c₂ + …)).
        #[inline(always)]
        fn polynomial<const N: usize>(self, coefficients: [f64; N]) -> Self {
            let mut sum = self.like(coefficients[N - 1]);
            for &coefficient in coefficients[..N - 1].iter().rev() {
                sum = self.like(coefficient) + self * sum;
            }
            sum
        }

        /// Arc sine as libm has it for |x| < 0.5, that is below 30°; NaN elsewhere.
        #[inline(always)]
        fn asin_near(self) -> Self {
            let z = self * self;
            let p = z * z.polynomial(ASIN_P);
            let q = z.polynomial(ASIN_Q);
            (self + self * (p / q)).where_else(self.abs().below(0.5), self.like(f64::NAN))
        }

        /// Arc tangent as libm has it for |x| < 7/16, that is below 23°; NaN elsewhere.
        #[inline(always)]
        fn atan_near(self) -> Self {
            let z = self * self;
            let w = z * z;
            let odd = z * w.polynomial(ATAN_ODD);
            let even = w * w.polynomial(ATAN_EVEN);
            let near = (self - self * (odd + even)).where_else(self.abs().below(0.4375), self.like(f64::NAN));
            // So small an angle is its own tangent; zero keeps its sign.
            self.where_else(self.abs().below(TINY), near)
        }
    }

    impl<S: Simd> Lanes<S> {
        /// Arc tangent as libm has it, radians; NaN for what is beyond all bounds.
        #[inline(always)]
        fn atan(self) -> Self {
            let (zero, one, size) = (self.like(0.0), self.like(1.0), self.abs());
            // By the arc tangent of ∞, 1.5, 1, 0.5 or 0, to which the size is near, and what it differs from it by.
            let (mut over, mut under) = (-one, size);
            let (mut high, mut low) = (self.like(ATAN_HIGH[3]), self.like(ATAN_LOW[3]));
            let (two, more) = (self.like(2.0), self.like(1.5));
            for (bound, next_over, next_under, next_high, next_low) in [
                (2.4375, size - more, one + more * size, ATAN_HIGH[2], ATAN_LOW[2]),
                (1.1875, size - one, size + one, ATAN_HIGH[1], ATAN_LOW[1]),
                (0.6875, two * size - one, two + size, ATAN_HIGH[0], ATAN_LOW[0]),
                (0.4375, size, one, 0.0, 0.0),
            ] {
                let near = size.below(bound);
                over = next_over.where_else(near, over);
                under = next_under.where_else(near, under);
                high = self.like(next_high).where_else(near, high);
                low = self.like(next_low).where_else(near, low);
            }
            let x = over / under;
            let z = x * x;
            let w = z * z;
            let odd = z * w.polynomial(ATAN_ODD);
            let even = w * w.polynomial(ATAN_EVEN);
            let angle = high - (x * (odd + even) - low - x);
            let angle = self.if_less(zero, -angle, angle);
            // So small an angle is its own tangent; zero keeps its sign.
            let angle = self.where_else(size.below(TINY), angle);
            angle.where_else(size.below(1e15), self.like(f64::NAN))
        }
    }

    impl<S: Simd> Truths<S> {
        /// Record by record: whether it holds.
        #[inline(always)]
        pub(crate) fn each(self, mut tell: impl FnMut(usize, bool)) {
            let Self { simd, holds } = self;
            let one = simd.select_u64s(holds, simd.splat_u64s(1), simd.splat_u64s(0));
            for (lane, &one) in pulp::bytemuck::cast_slice(core::slice::from_ref(&one)).iter().enumerate() {
                let one: u64 = one;
                tell(lane, one == 1);
            }
        }
    }

    impl<S: Simd> BitAnd for Truths<S> {
        type Output = Self;
        #[inline(always)]
        fn bitand(self, other: Self) -> Self {
            Self { holds: self.simd.and_m64s(self.holds, other.holds), ..self }
        }
    }

    impl<S: Simd> PartialEq for Lanes<S> {
        fn eq(&self, other: &Self) -> bool {
            self.as_slice() == other.as_slice()
        }
    }

    impl<S: Simd> Neg for Lanes<S> {
        type Output = Self;
        #[inline(always)]
        fn neg(self) -> Self {
            Self { numbers: self.simd.neg_f64s(self.numbers), ..self }
        }
    }

    impl<S: Simd> Add for Lanes<S> {
        type Output = Self;
        #[inline(always)]
        fn add(self, other: Self) -> Self {
            Self { numbers: self.simd.add_f64s(self.numbers, other.numbers), ..self }
        }
    }

    impl<S: Simd> Sub for Lanes<S> {
        type Output = Self;
        #[inline(always)]
        fn sub(self, other: Self) -> Self {
            Self { numbers: self.simd.sub_f64s(self.numbers, other.numbers), ..self }
        }
    }

    impl<S: Simd> Mul for Lanes<S> {
        type Output = Self;
        #[inline(always)]
        fn mul(self, other: Self) -> Self {
            Self { numbers: self.simd.mul_f64s(self.numbers, other.numbers), ..self }
        }
    }

    impl<S: Simd> Div for Lanes<S> {
        type Output = Self;
        #[inline(always)]
        fn div(self, other: Self) -> Self {
            Self { numbers: self.simd.div_f64s(self.numbers, other.numbers), ..self }
        }
    }

    impl<S: Simd> Real for Lanes<S> {
        type Truth = Truths<S>;

        #[inline(always)]
        fn within(self, [least, most]: [f64; 2]) -> Truths<S> {
            let Self { simd, numbers } = self;
            let above = simd.less_than_or_equal_f64s(simd.splat_f64s(least), numbers);
            let below = simd.less_than_or_equal_f64s(numbers, simd.splat_f64s(most));
            Truths { simd, holds: simd.and_m64s(above, below) }
        }

        #[inline(always)]
        fn like(self, value: f64) -> Self {
            Self::splat(self.simd, value)
        }

        #[inline(always)]
        fn if_less(self, bound: Self, then: Self, otherwise: Self) -> Self {
            let simd = self.simd;
            then.where_else(Truths { simd, holds: simd.less_than_f64s(self.numbers, bound.numbers) }, otherwise)
        }

        #[inline(always)]
        fn sqrt(self) -> Self {
            Self { numbers: self.simd.sqrt_f64s(self.numbers), ..self }
        }

        #[inline(always)]
        fn scale_to_one(self) -> Self {
            let Self { simd, numbers } = self;
            let positive = simd.less_than_f64s(simd.splat_f64s(0.0), numbers);
            (self.like(1.0) / self).where_else(Truths { simd, holds: positive }, self.like(1.0))
        }

        #[inline(always)]
        fn asin_deg(self) -> Self {
            self.asin_near() * self.like(DEG_PER_RAD)
        }

        #[inline(always)]
        fn atan2_deg(self, x: Self) -> Self {
            let simd = self.simd;
            let positive = simd.less_than_f64s(simd.splat_f64s(0.0), x.numbers);
            let angle = (self / x).atan_near() * self.like(DEG_PER_RAD);
            angle.where_else(Truths { simd, holds: positive }, self.like(f64::NAN))
        }

        #[inline(always)]
        fn atan2_rad(self, x: Self) -> Self {
            let angle = (self / x).atan();
            self.like(0.0).if_less(x, angle, self.like(f64::NAN))
        }
    }

    /// The arc tangents of 0.5, 1, 1.5 and ∞, and what is missing from them.
    const ATAN_HIGH: [f64; 4] = [0.463_647_609_000_806_1, FRAC_PI_4, 0.982_793_723_247_329, FRAC_PI_2];
    const ATAN_LOW: [f64; 4] = [
        2.269_877_745_296_168_7e-17,
        3.061_616_997_868_383e-17,
        1.390_331_103_123_099_8e-17,
        6.123_233_995_736_766e-17,
    ];
    /// 2⁻²⁷.
    const TINY: f64 = 1.0 / 134_217_728.0;
    /// The coefficients of libm's arc sine: of the numerator from x² on, and of the denominator.
    const ASIN_P: [f64; 6] = [
        0.166_666_666_666_666_66,
        -0.325_565_818_622_400_9,
        0.201_212_532_134_862_93,
        -0.040_055_534_500_679_41,
        0.000_791_534_994_289_814_5,
        3.479_331_075_960_212e-05,
    ];
    const ASIN_Q: [f64; 5] =
        [1.0, -2.403_394_911_734_414, 2.020_945_760_233_505_7, -0.688_283_971_605_453_3, 0.077_038_150_555_901_94];
    /// The coefficients of libm's arc tangent, by odd and even powers of x².
    const ATAN_ODD: [f64; 6] = [
        0.333_333_333_333_329_3,
        0.142_857_142_725_034_66,
        0.090_908_871_334_365_07,
        0.066_610_731_373_875_31,
        0.049_768_779_946_159_324,
        0.016_285_820_115_365_782,
    ];
    const ATAN_EVEN: [f64; 5] = [
        -0.199_999_999_998_764_83,
        -0.111_111_104_054_623_56,
        -0.076_918_762_050_448_3,
        -0.058_335_701_337_905_735,
        -0.036_531_572_744_216_916,
    ];
}

#[cfg(all(test, feature = "simd"))]
mod tests {
    use super::*;
    use alloc::vec::Vec;
    use pulp::{Arch, WithSimd};

    /// Applies a function of lanes to all numbers, by the instructions of this processor.
    struct Apply<'a, F>(&'a [f64], F);

    /// A function of lanes that knows no register.
    trait OfLanes {
        fn of<T: Real>(&self, x: T) -> T;
    }

    impl<F: OfLanes> WithSimd for Apply<'_, F> {
        type Output = Vec<f64>;
        #[inline(always)]
        fn with_simd<S: Simd>(self, simd: S) -> Vec<f64> {
            let (registers, rest) = S::as_simd_f64s(self.0);
            assert!(rest.is_empty());
            registers.iter().flat_map(|&numbers| self.1.of(Lanes::new(simd, numbers)).as_slice().to_vec()).collect()
        }
    }

    struct ArcSine;
    impl OfLanes for ArcSine {
        fn of<T: Real>(&self, x: T) -> T {
            x.asin_deg()
        }
    }

    struct ArcTangent(f64);
    impl OfLanes for ArcTangent {
        fn of<T: Real>(&self, x: T) -> T {
            x.atan2_deg(x.like(self.0))
        }
    }

    struct ArcTangentAllRound(f64);
    impl OfLanes for ArcTangentAllRound {
        fn of<T: Real>(&self, x: T) -> T {
            x.atan2_rad(x.like(self.0))
        }
    }

    struct Arithmetic;
    impl OfLanes for Arithmetic {
        fn of<T: Real>(&self, x: T) -> T {
            let y = x * x - x / x.like(3.0);
            (-y).hypot(x) + y.scale_to_one() + (x * x.like(0.0)).scale_to_one() + x.sqrt()
        }
    }

    /// From nothing through the smallest numbers to beyond the branch, both signs.
    fn arguments() -> Vec<f64> {
        let even = (0..200_000).map(|i| f64::from(i) * 3e-6);
        let tiny = (0..1100).map(|i| libm::exp2(-f64::from(i)) * 0.4);
        let edges = [0.437_499_999_999_999_94, 0.499_999_999_999_999_94, f64::NAN, f64::INFINITY];
        even.chain(tiny).chain(edges).flat_map(|x| [x, -x]).collect()
    }

    fn agree(function: &(impl OfLanes + Sync), sure: impl Fn(f64) -> bool) {
        let arguments = arguments();
        let by_lanes = Arch::new().dispatch(Apply(&arguments, ByRef(function)));
        let scalar = pulp::Scalar::new().vectorize(Apply(&arguments, ByRef(function)));
        for ((x, lanes), scalar) in arguments.into_iter().zip(by_lanes).zip(scalar) {
            assert_eq!((lanes.is_nan(), scalar.is_nan()), (!sure(x), !sure(x)), "{x}");
            if sure(x) {
                assert_eq!(lanes.to_bits(), scalar.to_bits(), "{x}");
                assert_eq!(lanes.to_bits(), function.of(x).to_bits(), "{x}");
            }
        }
    }

    struct ByRef<'a, F>(&'a F);
    impl<F: OfLanes> OfLanes for ByRef<'_, F> {
        fn of<T: Real>(&self, x: T) -> T {
            self.0.of(x)
        }
    }

    #[test]
    fn lanes_have_the_bits_that_each_number_has_by_itself() {
        agree(&ArcSine, |x| x.abs() < 0.5);
        agree(&ArcTangent(1.0), |x| x.abs() < 0.4375);
        agree(&ArcTangent(-1.0), |_| false);
        agree(&ArcTangentAllRound(1.0), |x| x.abs() < 1e15);
        agree(&ArcTangentAllRound(0.03), |x| x.abs() < 1e13);
        agree(&ArcTangentAllRound(-1.0), |_| false);
        agree(&Arithmetic, |x| (0.0..f64::INFINITY).contains(&x));
    }

    #[test]
    fn nan_lies_between_no_bounds() {
        assert!(
            !f64::NAN.within([f64::NEG_INFINITY, f64::INFINITY]) && 1.0.within([1.0, 1.0]) && !1.1.within([0.0, 1.0])
        );
    }
}
