//! The closed form of the heat against small steps, exponentials, its steady state and the balance of energy.

use super::*;
use proptest::prelude::*;

const FOSTER: Foster = Foster {
    r_th: [2.0, 5.0, 1.0],
    tau_s: [60.0, 900.0, 450.0],
};

const CABLE: Loss = Loss {
    cold_w: 14.7,
    per_k: 0.058,
};

fn power(cold_w: f64, per_k: f64) -> Power {
    Power {
        contact: Loss { cold_w, per_k },
        cable: CABLE,
    }
}

/// W that each node takes up and keeps: what comes in less what it lets through.
fn net_w(foster: &Foster, power: Power, rise: Rise) -> Vector {
    let contact_w = power.contact.cold_w + power.contact.per_k * rise.contact_k();
    let cable_w = power.cable.cold_w + power.cable.per_k * rise.cable_k();
    let came_w = [contact_w, contact_w, cable_w];
    std::array::from_fn(|k| came_w[k] - rise.0[k] / foster.r_th[k])
}

/// Small steps (midpoint rule) of the differential equation itself.
fn stepped(foster: &Foster, mut rise: Rise, power: Power, elapsed_s: f64) -> Rise {
    let steps = 50_000;
    let dt = elapsed_s / f64::from(steps);
    let c = foster.capacities();
    let moved = |rise: Rise, slope: Vector, dt: f64| Rise(std::array::from_fn(|k| rise.0[k] + dt * slope[k] / c[k]));
    for _ in 0..steps {
        let middle = moved(rise, net_w(foster, power, rise), 0.5 * dt);
        rise = moved(rise, net_w(foster, power, middle), dt);
    }
    rise
}

#[test]
fn closed_form_agrees_with_small_steps() {
    let start = Rise([3.0, 1.0, 0.5]);
    let equal = Foster {
        r_th: [2.0; 3],
        tau_s: [300.0; 3],
    };
    for foster in [FOSTER, equal] {
        for power in [power(10.0, 0.0), power(25.0, 0.1), power(25.0, 0.2), Power::default()] {
            let (exact, slow) = (
                foster.advance(start, power, 600.0),
                stepped(&foster, start, power, 600.0),
            );
            for k in 0..NODES {
                assert!((exact.0[k] - slow.0[k]).abs() < 1e-4, "{exact:?} {slow:?}");
            }
        }
    }
}

#[test]
fn a_step_follows_the_exponentials_of_its_nodes() {
    let still = Power {
        cable: Loss {
            cold_w: 8.0,
            per_k: 0.0,
        },
        ..power(10.0, 0.0)
    };
    let rise = FOSTER.advance(Rise::default(), still, 60.0);
    let of = |end_k: f64, tau_s: f64| end_k * (1.0 - libm::exp(-60.0 / tau_s));
    assert!((rise.contact_k() - of(20.0, 60.0) - of(50.0, 900.0) - of(8.0, 450.0)).abs() < 1e-9);
    assert!((rise.terminal_k() - of(50.0, 900.0) - of(8.0, 450.0)).abs() < 1e-9);
    assert!((rise.cable_k() - of(8.0, 450.0)).abs() < 1e-9);
}

#[test]
fn after_a_long_time_stands_the_steady_state() {
    let still = power(12.0, 0.05);
    let late = FOSTER.advance(Rise::default(), still, 1e6);
    assert!(net_w(&FOSTER, still, late).iter().all(|w| w.abs() < 1e-9), "{late:?}");
    assert!((late.terminal_k() - FOSTER.final_terminal_k(still)).abs() < 1e-9);
}

#[test]
fn a_contact_runs_away_where_the_loop_gain_reaches_one() {
    // I²·R·α·(r_contact + r_terminal), here 7 K/W.
    let (below, above) = (power(5.0, 0.99 / 7.0), power(5.0, 1.01 / 7.0));
    assert!(FOSTER.final_terminal_k(below).is_finite());
    assert!(FOSTER.final_terminal_k(above).is_infinite());
    assert!(FOSTER.advance(Rise::default(), above, 1e6).contact_k() > 1000.0);
}

#[test]
fn what_runs_away_for_days_melts_and_leaves_the_cable_as_it_is() {
    // The contact doubles in some minutes: e^(λt) is beyond every number long before 10⁷ s. The cable settles at
    // 14.7 W / (1 K/W − 0.058 W/K).
    let away = power(25.0, 3.0);
    let settled_k = 14.7 / (1.0 - 0.058);
    for elapsed_s in [1e4, 1e5, 1e6, 1e7] {
        let late = FOSTER.advance(Rise([3.0, 1.0, 0.5]), away, elapsed_s);
        assert!(late.0[0] >= MOLTEN && late.0[1] >= MOLTEN, "{elapsed_s} s: {late:?}");
        let left = libm::exp(-(1.0 - 0.058) / 450.0 * elapsed_s);
        let expected = settled_k + (0.5 - settled_k) * left;
        assert!((late.cable_k() - expected).abs() < 1e-6, "{elapsed_s} s: {late:?}");
        let later = FOSTER.advance(late, away, elapsed_s);
        assert!(
            later.0[0] >= MOLTEN && later.0[1] >= MOLTEN,
            "and it stays so: {later:?}"
        );
        // Switched off it cools again, and all stays finite.
        let cold = FOSTER.advance(late, Power::default(), 1e5);
        assert!(cold.0.iter().all(|k| k.abs() < 1e-9), "{cold:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// What came in less what went out is what is stored, in each node, within a millijoule for each course.
    #[test]
    fn energy_balances_within_a_millijoule(
        r_th in proptest::array::uniform3(0.5..8.0_f64),
        tau_s in proptest::array::uniform3(30.0..1500.0_f64),
        start in proptest::array::uniform3(0.0..30.0_f64),
        (cold_w, gain, cable_w) in (0.0..40.0_f64, 0.0..1.2_f64, 0.0..30.0_f64),
        span_s in 1.0..300.0_f64,
    ) {
        let foster = Foster { r_th, tau_s };
        let power = Power {
            contact: Loss { cold_w, per_k: gain / (r_th[0] + r_th[1]) },
            cable: Loss { cold_w: cable_w, per_k: 0.004 * cable_w },
        };
        let (steps, start) = (2000_u32, Rise(start));
        // What melts takes up no more, however much still comes.
        prop_assume!(foster.advance(start, power, span_s).0.iter().all(|k| *k < MOLTEN));
        let width = span_s / f64::from(steps);
        let weight = |k: u32| if k == 0 || k == steps { 1.0 } else { f64::from(2 + 2 * (k % 2)) };
        let mut came_j = [0.0; NODES];
        for k in 0..=steps {
            let net = net_w(&foster, power, foster.advance(start, power, f64::from(k) * width));
            for (sum, net) in came_j.iter_mut().zip(net) {
                *sum += weight(k) * net * width / 3.0;
            }
        }
        let end = foster.advance(start, power, span_s);
        let c = foster.capacities();
        for k in 0..NODES {
            let stored_j = c[k] * (end.0[k] - start.0[k]);
            prop_assert!((stored_j - came_j[k]).abs() < 1e-3, "node {k}: {stored_j} J stored, {} J came in", came_j[k]);
        }
    }
}
