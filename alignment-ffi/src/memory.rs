//! What crosses the border: texts, numbers and structs of the caller in, results out. Every pointer is checked here.

use crate::error::{Failure, WaError, guard};
use alignment_core::Session;
use alignment_core::json::session_from_json;
use serde::Serialize;
use std::ffi::{CStr, c_char};
use std::{mem, ptr, slice, str};

/// The size above which a struct is taken for garbage.
pub(crate) const LARGEST_SIZE: usize = 4096;

/// A number that may be absent.
#[repr(C)]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaOptional {
    /// 1, or 0 when absent. To the library all but 0 is present; in a wa_compensation it must be 0 or 1.
    pub present: i64,
    /// The number; from the library NaN when absent, to the library not looked at then.
    pub value: f64,
}

impl WaOptional {
    #[inline]
    pub(crate) fn get(self) -> Option<f64> {
        (self.present != 0).then_some(self.value)
    }
}

impl From<Option<f64>> for WaOptional {
    fn from(value: Option<f64>) -> Self {
        Self { value: value.unwrap_or(f64::NAN), present: i64::from(value.is_some()) }
    }
}

/// A struct of C whose first member is a `size_t` that the caller sets to its size.
///
/// # Safety
/// It is `repr(C)`, begins with a `usize`, and any bits make one.
pub(crate) unsafe trait StatesSize: Copy {}

/// Refuses NULL and what is not aligned for its type.
#[inline]
pub(crate) fn check<T>(name: &'static str, pointer: *const T) -> Result<(), Failure> {
    if pointer.is_null() || !pointer.is_aligned() { Err(no_object(name, pointer)) } else { Ok(()) }
}

/// Why a pointer is refused. Cold, as all that makes a failure: so the compiler lays out the code for the calls that succeed.
#[cold]
fn no_object<T>(name: &'static str, pointer: *const T) -> Failure {
    if pointer.is_null() {
        Failure::NullPointer { name }
    } else {
        Failure::Misaligned { name, alignment: mem::align_of::<T>() }
    }
}

/// `count` elements of the caller, where they are.
///
/// # Safety
/// `pointer` is null, or points to as many elements, which nobody writes meanwhile; any bits make a `T`.
#[inline]
pub(crate) unsafe fn elements<'a, T>(name: &'static str, pointer: *const T, count: usize) -> Result<&'a [T], Failure> {
    check(name, pointer)?;
    if count > isize::MAX.unsigned_abs() / mem::size_of::<T>() {
        return Err(Failure::BadLength { name });
    }
    // SAFETY: not null and aligned, the caller's promise, and no larger than an object can be.
    Ok(unsafe { slice::from_raw_parts(pointer, count) })
}

/// The same, where NULL stands for none.
///
/// # Safety
/// As [`elements`].
pub(crate) unsafe fn list<'a, T>(name: &'static str, pointer: *const T, count: usize) -> Result<&'a [T], Failure> {
    // SAFETY: the caller's promise is handed on.
    if pointer.is_null() && count == 0 { Ok(&[]) } else { unsafe { elements(name, pointer, count) } }
}

/// One thing of the caller, where it is.
///
/// # Safety
/// As [`elements`].
#[inline]
pub(crate) unsafe fn in_place<'a, T>(name: &'static str, pointer: *const T) -> Result<&'a T, Failure> {
    check(name, pointer)?;
    // SAFETY: not null and aligned, and the caller's promise.
    Ok(unsafe { &*pointer })
}

/// The same, where NULL stands for none.
///
/// # Safety
/// As [`elements`].
#[inline]
pub(crate) unsafe fn optional<'a, T>(name: &'static str, pointer: *const T) -> Result<Option<&'a T>, Failure> {
    // SAFETY: the caller's promise is handed on.
    if pointer.is_null() { Ok(None) } else { unsafe { in_place(name, pointer) }.map(Some) }
}

/// `N` numbers of the caller.
///
/// # Safety
/// As [`elements`].
#[inline]
pub(crate) unsafe fn numbers<const N: usize>(name: &'static str, pointer: *const f64) -> Result<[f64; N], Failure> {
    // SAFETY: the caller's promise is handed on; an array is aligned as its elements are.
    unsafe { in_place(name, pointer.cast::<[f64; N]>()) }.copied()
}

/// A text of `length` bytes.
///
/// # Safety
/// As [`elements`].
pub(crate) unsafe fn text<'a>(name: &'static str, pointer: *const c_char, length: usize) -> Result<&'a str, Failure> {
    // SAFETY: the caller's promise is handed on.
    let bytes = unsafe { elements(name, pointer.cast::<u8>(), length)? };
    str::from_utf8(bytes).map_err(|error| Failure::NotUtf8 { name, at: error.valid_up_to() })
}

/// A text that ends with a NUL.
///
/// # Safety
/// `pointer` is null, or points to bytes up to a NUL, which nobody writes meanwhile.
pub(crate) unsafe fn string<'a>(name: &'static str, pointer: *const c_char) -> Result<&'a str, Failure> {
    check(name, pointer)?;
    // SAFETY: not null, and the caller's promise.
    let bytes = unsafe { CStr::from_ptr(pointer) };
    bytes.to_str().map_err(|error| Failure::NotUtf8 { name, at: error.valid_up_to() })
}

/// The choice that a number stands for, counted from 0.
#[inline]
pub(crate) fn choice<T: Copy, const N: usize>(name: &'static str, number: i32, choices: [T; N]) -> Result<T, Failure> {
    let chosen = usize::try_from(number).ok().and_then(|index| choices.get(index));
    #[expect(clippy::cast_precision_loss, reason = "there are a handful of choices")]
    chosen.copied().ok_or_else(|| Failure::out_of_range(name, number.into(), 0.0, Some((N - 1) as f64)))
}

/// The session of a text.
///
/// # Safety
/// As [`elements`].
pub(crate) unsafe fn session(pointer: *const c_char, length: usize) -> Result<Session, Failure> {
    // SAFETY: the caller's promise is handed on.
    let text = unsafe { text("session_json", pointer, length)? };
    Ok(session_from_json(text)?)
}

/// The size that a struct states; as an error one that `T` cannot have in this or a later header.
///
/// # Safety
/// `pointer` is aligned and points to a `size` that is set; the rest need not be.
#[inline]
pub(crate) unsafe fn stated_size<T: StatesSize>(pointer: *const T) -> Result<usize, usize> {
    // SAFETY: the caller's promise. No reference is made to the rest.
    let size = unsafe { pointer.cast::<usize>().read() };
    if (mem::size_of::<T>()..=LARGEST_SIZE).contains(&size) { Ok(size) } else { Err(size) }
}

/// A struct with a size. Of a later header only what is zero beyond the members known here can be understood.
///
/// # Safety
/// `pointer` is null, or points to a `size` that is set and to as many readable bytes as it says.
pub(crate) unsafe fn read<'a, T: StatesSize>(name: &'static str, pointer: *const T) -> Result<&'a T, Failure> {
    let known = mem::size_of::<T>();
    // SAFETY: the caller's promise is handed on, and known ≤ size.
    let (size, later) = unsafe {
        let size = checked_size(name, pointer)?;
        (size, slice::from_raw_parts(pointer.cast::<u8>().add(known), size - known))
    };
    if later.iter().any(|&byte| byte != 0) {
        return Err(Failure::BadSize { name, size, known });
    }
    // SAFETY: aligned, as many bytes are readable, and any bits make a T.
    Ok(unsafe { &*pointer })
}

/// # Safety
/// `pointer` is null, or points to a `size` that is set.
#[inline]
unsafe fn checked_size<T: StatesSize>(name: &'static str, pointer: *const T) -> Result<usize, Failure> {
    check(name, pointer)?;
    // SAFETY: not null and aligned, and the caller's promise.
    unsafe { stated_size(pointer) }.map_err(|size| bad_size(name, size, mem::size_of::<T>()))
}

#[cold]
fn bad_size(name: &'static str, size: usize, known: usize) -> Failure {
    Failure::BadSize { name, size, known }
}

/// Where a struct with a size goes: checked before the work is done.
pub(crate) struct Target<T> {
    pointer: *mut T,
    size: usize,
}

impl<T: StatesSize> Target<T> {
    /// # Safety
    /// `pointer` is null, or points to a `size` that is set and to as many writable bytes as it says, as long as this lives.
    #[inline]
    pub(crate) unsafe fn new(name: &'static str, pointer: *mut T) -> Result<Self, Failure> {
        // SAFETY: the caller's promise is handed on.
        unsafe { checked_size(name, pointer) }.map(|size| Self { pointer, size })
    }

    /// Writes all but the size, which stays the caller's; what a later header has beyond is set to zero.
    #[inline]
    pub(crate) fn write(self, value: T) {
        // SAFETY: `new` was promised as many writable bytes.
        unsafe { fill(self.pointer, self.size, value) }
    }
}

/// Fills in a struct of the caller, all but its size, and zeros beyond what is known of it.
///
/// # Safety
/// `pointer` is aligned, and `size` bytes from it on are writable, no fewer than a `T` has.
#[inline]
pub(crate) unsafe fn fill<T: StatesSize>(pointer: *mut T, size: usize, value: T) {
    let known = mem::size_of::<T>();
    // SAFETY: the caller's promise; a `T` begins with its size.
    unsafe {
        pointer.write(value);
        pointer.cast::<usize>().write(size);
        if size > known {
            ptr::write_bytes(pointer.cast::<u8>().add(known), 0, size - known);
        }
    }
}

/// Where a result without a size goes: checked before the work is done.
pub(crate) struct Place<T>(*mut T);

impl<T: Copy> Place<T> {
    /// # Safety
    /// `pointer` is null, or points to a writable `T` as long as this lives.
    #[inline]
    pub(crate) unsafe fn new(name: &'static str, pointer: *mut T) -> Result<Self, Failure> {
        check(name, pointer).map(|()| Self(pointer))
    }

    #[inline]
    pub(crate) fn write(self, value: T) {
        // SAFETY: not null and aligned, and `new` was promised that it is writable.
        unsafe { self.0.write(value) }
    }
}

/// Where a list of results goes: checked before the work is done.
pub(crate) struct Places<T> {
    pointer: *mut T,
    capacity: usize,
}

impl<T: Copy> Places<T> {
    /// # Safety
    /// `pointer` is null, or points to as many writable elements as `capacity` says, as long as this lives.
    pub(crate) unsafe fn new(name: &'static str, pointer: *mut T, capacity: usize) -> Result<Self, Failure> {
        check(name, pointer).map(|()| Self { pointer, capacity })
    }

    /// Refuses more than fit; `what` says what they are.
    pub(crate) fn check(&self, what: &'static str, count: usize) -> Result<(), Failure> {
        if count > self.capacity {
            return Err(Failure::BufferTooSmall { unit: what, capacity: self.capacity, needed: count });
        }
        Ok(())
    }

    /// Writes as many as fit.
    pub(crate) fn write(self, values: impl IntoIterator<Item = T>) {
        for (index, value) in values.into_iter().take(self.capacity).enumerate() {
            // SAFETY: not null and aligned, index < capacity, and `new` was promised that it is writable.
            unsafe { self.pointer.add(index).write(value) }
        }
    }
}

/// Runs a job whose result goes to one place, under the guard of the border.
///
/// # Safety
/// `to` is null, or points to a writable `T`; `error` as [`guard`] says.
#[inline]
pub(crate) unsafe fn give<T: Copy>(
    error: *mut WaError,
    (name, to): (&'static str, *mut T),
    job: impl FnOnce() -> Result<T, Failure>,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promise is handed on.
        let place = unsafe { Place::new(name, to)? };
        place.write(job()?);
        Ok(())
    };
    // SAFETY: the caller's promise is handed on.
    unsafe { guard(error, job) }
}

/// The caller's buffer for a result as text, as it came.
pub(crate) struct ResultBuffer {
    pub(crate) json: *mut c_char,
    pub(crate) capacity: usize,
    pub(crate) length: *mut usize,
}

impl ResultBuffer {
    fn check(&self) -> Result<(), Failure> {
        check("result_length", self.length)?;
        if self.capacity > 0 { check("result_json", self.json) } else { Ok(()) }
    }

    /// # Safety
    /// It was checked; `length` points to a writable, aligned `size_t` and `json` to `capacity` writable bytes.
    unsafe fn write(self, result: &str) -> Result<(), Failure> {
        // SAFETY: the caller's promise.
        unsafe { self.length.write(result.len()) };
        if self.capacity <= result.len() {
            let needed = result.len() + 1;
            return Err(Failure::BufferTooSmall { unit: "bytes", capacity: self.capacity, needed });
        }
        // SAFETY: capacity > result.len() ≥ 0, so json is not null; of its bytes result.len() + 1 are written. `result` is
        // our own, so nothing overlaps.
        unsafe {
            let target = self.json.cast::<u8>();
            ptr::copy_nonoverlapping(result.as_ptr(), target, result.len());
            target.add(result.len()).write(0);
        }
        Ok(())
    }
}

/// Runs a job whose result is a text, under the guard of the border.
///
/// # Safety
/// The pointers of `result` are null, or point to what [`ResultBuffer::write`] needs; `error` as [`guard`] says.
pub(crate) unsafe fn guard_text(
    result: ResultBuffer,
    error: *mut WaError,
    job: impl FnOnce() -> Result<String, Failure>,
) -> i32 {
    let job = || {
        result.check()?;
        let text = job()?;
        // SAFETY: checked, and the caller's promise is handed on.
        unsafe { result.write(&text) }
    };
    // SAFETY: the caller's promise is handed on.
    unsafe { guard(error, job) }
}

/// Fills in a struct with what it is by default.
///
/// # Safety
/// As [`Target::new`].
pub(crate) unsafe fn fill_in<T: StatesSize>(name: &'static str, pointer: *mut T, value: T) -> i32 {
    // SAFETY: the caller's promise is handed on; there is no wa_error.
    unsafe {
        guard(ptr::null_mut(), || {
            Target::new(name, pointer)?.write(value);
            Ok(())
        })
    }
}

/// A result of the core as JSON at full precision; what is absent, or infinite, is null.
pub(crate) fn to_json<T: Serialize>(value: &T) -> Result<String, Failure> {
    serde_json::to_string_pretty(value).map_err(|_| Failure::Internal)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::status::{WA_BAD_LENGTH, WA_BAD_STRUCT_SIZE, WA_NULL_POINTER};

    #[repr(C)]
    #[derive(Debug, Clone, Copy, PartialEq)]
    struct Known {
        size: usize,
        number: f64,
    }

    // SAFETY: as the trait asks.
    unsafe impl StatesSize for Known {}

    #[repr(C)]
    struct Later {
        known: Known,
        more: [u8; 16],
    }

    fn later(size: usize, more: u8) -> Later {
        Later { known: Known { size, number: 1.5 }, more: [more; 16] }
    }

    #[test]
    fn a_struct_of_a_later_header_is_read_while_what_is_new_is_zero() {
        let [known, all] = [mem::size_of::<Known>(), mem::size_of::<Later>()];
        for (size, more, read_as) in [
            (known, 9, Ok(1.5)),
            (all, 0, Ok(1.5)),
            (all, 9, Err(WA_BAD_STRUCT_SIZE)),
            (known - 1, 0, Err(WA_BAD_STRUCT_SIZE)),
            (LARGEST_SIZE + 1, 0, Err(WA_BAD_STRUCT_SIZE)),
            (usize::MAX, 0, Err(WA_BAD_STRUCT_SIZE)),
        ] {
            let given = later(size, more);
            // SAFETY: a struct of our own; a size beyond it is refused before the rest is looked at.
            let known = unsafe { read("known", (&raw const given).cast::<Known>()) };
            assert_eq!(known.map(|known| known.number).map_err(|failure| failure.code()), read_as, "{size}, {more}");
        }
    }

    #[test]
    fn a_struct_of_a_later_header_is_filled_up_with_zeros() {
        let mut given = later(mem::size_of::<Later>(), 9);
        // SAFETY: a struct of our own, with its size.
        unsafe { Target::new("known", (&raw mut given).cast::<Known>()) }
            .ok()
            .unwrap()
            .write(Known { size: 0, number: 2.5 });
        assert_eq!(given.known, Known { size: mem::size_of::<Later>(), number: 2.5 });
        assert_eq!(given.more, [0; 16]);
    }

    #[test]
    fn what_cannot_be_is_refused_before_it_is_looked_at() {
        let one = [1.0];
        // SAFETY: null, or refused by the count alone, or one element of our own.
        unsafe {
            assert_eq!(elements("x", ptr::null::<f64>(), 0).err().map(|f| f.code()), Some(WA_NULL_POINTER));
            for count in [usize::MAX, usize::MAX / 8, usize::MAX / 16 + 1] {
                assert_eq!(elements("x", one.as_ptr(), count).err().map(|f| f.code()), Some(WA_BAD_LENGTH));
            }
            assert_eq!(elements("x", one.as_ptr(), 1).ok(), Some(&one[..]));
        }
    }
}
