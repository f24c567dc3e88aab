//! Heat of terminal, contact and cable, as it shows from outside.

use crate::rig::Rig;
use pilotage_virtual::physics::{Node, Pole};

const ROOM_K: f64 = 296.15;

/// Terminal above the room and drop over the L pole's path divided by the current, after some time at 32 A.
fn after(changes: &[(&str, f64)], span_s: f64) -> (f64, f64) {
    let mut rig = Rig::closed(changes);
    rig.draw(32.0);
    rig.wait(span_s);
    (
        rig.truth().terminal_k - ROOM_K,
        rig.rms(Node::Path(Pole::L)) / rig.rms(Node::OutCurrent),
    )
}

#[test]
fn the_steady_state_is_loss_times_resistance() {
    // Without growth by heat, all three are straight: 32² A²·3 mΩ·5 K/W, and 32² A²·(17.2·5/6) mΩ·1 K/W in a room where
    // copper has 1.0118 of its resistance at 20 °C, growing by 0.393 %/K.
    let (terminal_k, _) = after(&[("alpha", 0.0)], 20_000.0);
    let cable_w = 1024.0 * 0.014_333;
    let cable_k = cable_w * 1.011_79 / (1.0 - cable_w * 0.003_93);
    let expected = 1024.0 * 0.003 * 5.0 + cable_k;
    assert!((terminal_k - expected).abs() < 0.01, "{terminal_k} {expected}");
}

#[test]
fn a_healthy_terminal_keeps_below_the_rise_that_is_allowed() {
    let (minute_k, cold_ohm) = after(&[], 60.0);
    let (hours_k, hot_ohm) = after(&[], 20_000.0);
    assert!(minute_k > 1.0 && minute_k < 6.0, "{minute_k}");
    assert!(hours_k > 25.0 && hours_k < 45.0, "{hours_k}");
    // Some 20 K to 40 K in copper: 4 % to 12 % more.
    assert!(
        hot_ohm / cold_ohm > 1.04 && hot_ohm / cold_ohm < 1.12,
        "{cold_ohm} {hot_ohm}"
    );
}

#[test]
fn a_cable_without_cooling_warms_the_terminal_too() {
    let (terminal_k, _) = after(&[("r_th_cable", 4.0)], 20_000.0);
    let (healthy_k, _) = after(&[], 20_000.0);
    assert!(terminal_k > healthy_k + 25.0, "{terminal_k} {healthy_k}");
}

#[test]
fn a_bad_contact_runs_away_at_full_current_and_not_at_half() {
    // I²·R·α·(r_contact + r_terminal): 6 mΩ, 0.4 %/K and 43 K/W make 1.06 at 32 A and 0.26 at 16 A.
    let bad = [
        ("r_pole", 0.006),
        ("alpha", 0.004),
        ("r_th_terminal", 41.0),
        ("k_T", 0.0),
    ];
    let rise_k = |amps: f64, span_s: f64| {
        let mut rig = Rig::closed(&bad);
        rig.draw(amps);
        rig.wait(span_s);
        rig.truth().terminal_k - ROOM_K
    };
    assert!(rise_k(16.0, 40_000.0) < 100.0);
    // Where it would settle, the second half of the time would add little.
    let (early, late) = (rise_k(32.0, 1000.0), rise_k(32.0, 2000.0));
    assert!(late > 1.9 * early && early > 100.0, "{early} {late}");
}
