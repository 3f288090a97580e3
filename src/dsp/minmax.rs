//! Maximum and minimum as one comparison and one selection each.
//!
//! `f64::max` must return the other number when one is NaN, which costs two more operations in an
//! inner loop. Here the second argument is returned when either is NaN: callers that can meet NaN
//! put the value that is known to be a number second.

/// The larger of two numbers; `b` if either is NaN.
#[inline(always)]
pub fn larger<T: PartialOrd>(a: T, b: T) -> T {
    if a > b { a } else { b }
}

/// The smaller of two numbers; `b` if either is NaN.
#[inline(always)]
pub fn smaller<T: PartialOrd>(a: T, b: T) -> T {
    if a < b { a } else { b }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_numbers_and_return_the_second_for_nan() {
        assert_eq!((larger(1.0, 2.0), larger(2.0, 1.0)), (2.0, 2.0));
        assert_eq!((smaller(1.0, 2.0), smaller(2.0, 1.0)), (1.0, 1.0));
        assert_eq!((larger(f64::NAN, 3.0), smaller(f64::NAN, 3.0)), (3.0, 3.0));
        assert!(larger(3.0, f64::NAN).is_nan() && smaller(3.0, f64::NAN).is_nan());
    }
}
