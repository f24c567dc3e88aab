//! Complex numbers, as far as phasors need them.

use core::ops::{Add, Div, Mul, Sub};

/// re + j·im
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in super::super) struct Complex {
    pub(in super::super) re: f64,
    pub(in super::super) im: f64,
}

impl Complex {
    pub(in super::super) const ZERO: Self = Self { re: 0.0, im: 0.0 };

    pub(in super::super) fn real(re: f64) -> Self {
        Self { re, im: 0.0 }
    }

    pub(in super::super) fn imaginary(im: f64) -> Self {
        Self { re: 0.0, im }
    }

    /// e^(j·angle)
    pub(in super::super) fn unit(angle: f64) -> Self {
        let (im, re) = libm::sincos(angle);
        Self { re, im }
    }

    /// Square of the magnitude.
    pub(in super::super) fn norm(self) -> f64 {
        self.re * self.re + self.im * self.im
    }

    pub(in super::super) fn conjugate(self) -> Self {
        Self {
            re: self.re,
            im: -self.im,
        }
    }

    pub(in super::super) fn scaled(self, by: f64) -> Self {
        Self {
            re: self.re * by,
            im: self.im * by,
        }
    }
}

impl Add for Complex {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            re: self.re + other.re,
            im: self.im + other.im,
        }
    }
}

impl Sub for Complex {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self {
            re: self.re - other.re,
            im: self.im - other.im,
        }
    }
}

impl Mul for Complex {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        Self {
            re: self.re * other.re - self.im * other.im,
            im: self.re * other.im + self.im * other.re,
        }
    }
}

impl Div for Complex {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let scale = other.re * other.re + other.im * other.im;
        Self {
            re: (self.re * other.re + self.im * other.im) / scale,
            im: (self.im * other.re - self.re * other.im) / scale,
        }
    }
}
