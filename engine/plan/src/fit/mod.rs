//! Fits a sequence to one item and one bench.
//!
//! | module | holds |
//! | --- | --- |
//! | [`request`] | what fitting is given |
//! | [`code`] | the codes of its problems |
//! | [`points`] | the points of each kind of item |
//! | [`mod@fitness`] | what the bench can decide, limit by limit, and which instrument would |
//! | [`accuracy`] | what drivers promise, source by source |
//! | [`window`] | what an uncertainty leaves of a tolerance |
//! | `budget`, `budget_entry`, `budget_finds`, `computed`, `expected` | the walk that gives each reading its uncertainty before it is taken |
//! | [`mod@attendance`] | when a person is needed |
//! | `plate`, `services`, `names` | nameplate, bench and names, resolved |
//! | `fitter`, `steps`, `acts`, `orders`, `reads`, `capture`, `power`, `waits`, `unroll`, `judge` | the walk over steps and acts |
//! | `chapters` | a sequence with its chapters taken in |
//! | `limit_sets` | several limit sets for one sequence |
//! | `tolerance` | comparison words worked out |
//! | `settings` | what every point was last set to |
//! | `duties` | interlocks, protections and all that energising demands |
//! | `abandoned` | what a bus is told once the program has hung |
//! | `make_safe` | the tool's own order of de-energising, and what proves dead |
//! | `heading`, `estimate` | what stands on top, and how long it takes |

mod abandoned;
pub mod accuracy;
mod acts;
pub mod attendance;
mod budget;
mod budget_entry;
mod budget_finds;
mod capture;
mod chapters;
pub mod code;
mod computed;
mod duties;
mod estimate;
mod expected;
mod fit_whole;
pub mod fitness;
mod fitter;
mod heading;
mod judge;
mod limit_sets;
mod make_safe;
mod names;
pub mod near;
mod orders;
mod pictures;
mod plate;
pub mod points;
mod power;
mod problems;
mod reads;
pub mod request;
mod services;
mod settings;
mod steps;
mod tolerance;
mod unroll;
mod waits;
pub mod window;

pub use accuracy::{Term, expanded_at};
pub use attendance::{Attendance, attendance};
pub use chapters::{unknown_file, whole};
pub use fit_whole::fit;
pub use fitness::{Fitness, fitness, would_decide};
pub use limit_sets::take_in;
pub use request::FitRequest;
pub use services::{loose_ends, unknown_driver};
pub use window::Decides;
