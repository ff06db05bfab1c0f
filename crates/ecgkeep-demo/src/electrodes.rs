//! From the dipole to electrodes, and from electrodes to leads.

use crate::Electrode;
use crate::constants::DOWER;

/// The electrodes that make the leads: right arm, left arm, left leg, C1 to C6.
pub(crate) const SITES: usize = 9;

impl Electrode {
    /// Its place among the [`SITES`]. The right leg answers as the left leg: the potentials of both legs are taken
    /// as equal (Krasteva, Jekova and Schmid 2019, Sensors 19:2920).
    pub(crate) fn site(self) -> usize {
        match self {
            Electrode::RightArm => 0,
            Electrode::LeftArm => 1,
            Electrode::LeftLeg | Electrode::RightLeg => 2,
            Electrode::C1 => 3,
            Electrode::C2 => 4,
            Electrode::C3 => 5,
            Electrode::C4 => 6,
            Electrode::C5 => 7,
            Electrode::C6 => 8,
        }
    }
}

/// The potentials of the electrodes, against the mean of the three limbs, that a dipole causes.
pub(crate) fn potentials_of(dipole: [f64; 3]) -> [f64; SITES] {
    let lead = |row: &[f64; 3]| row[0] * dipole[0] + row[1] * dipole[1] + row[2] * dipole[2];
    let (i, ii) = (lead(&DOWER[0]), lead(&DOWER[1]));
    let mut potentials =
        [-(i + ii) / 3.0, (2.0 * i - ii) / 3.0, (2.0 * ii - i) / 3.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    for (potential, row) in potentials[3..].iter_mut().zip(&DOWER[2..]) {
        *potential = lead(row);
    }
    potentials
}

/// The twelve leads, in the usual order, from the potentials at the cables: Einthoven's bipolar leads, Goldberger's
/// augmented ones, Wilson's chest leads against the mean of the limbs.
pub(crate) fn leads_of(cables: [f64; SITES]) -> [f64; 12] {
    let [ra, la, ll, chest @ ..] = cables;
    let central = (ra + la + ll) / 3.0;
    let [v1, v2, v3, v4, v5, v6] = chest.map(|potential| potential - central);
    [
        la - ra,
        ll - ra,
        ll - la,
        ra - (la + ll) / 2.0,
        la - (ra + ll) / 2.0,
        ll - (ra + la) / 2.0,
        v1,
        v2,
        v3,
        v4,
        v5,
        v6,
    ]
}

/// Which site each cable sits on after the exchanges, in their order.
pub(crate) fn cabling(exchanges: impl Iterator<Item = (Electrode, Electrode)>) -> [usize; SITES] {
    // the tenth cable is the right leg's, which no lead uses
    let mut on: [usize; SITES + 1] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 2];
    let cable =
        |electrode: Electrode| if electrode == Electrode::RightLeg { SITES } else { electrode.site() };
    for (one, other) in exchanges {
        on.swap(cable(one), cable(other));
    }
    let mut cables = [0; SITES];
    cables.copy_from_slice(&on[..SITES]);
    cables
}

#[cfg(test)]
mod tests {
    use super::*;

    fn leads(exchange: Option<(Electrode, Electrode)>) -> [f64; 12] {
        let sites = [-310.0, 120.0, 190.0, -55.0, 240.0, 700.0, 910.0, 640.0, 400.0];
        let cables = cabling(exchange.into_iter());
        leads_of(cables.map(|site| sites[site]))
    }

    fn assert_near(found: &[f64], expected: &[f64]) {
        assert!(found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-9), "{found:?} != {expected:?}");
    }

    #[test]
    fn leads_follow_einthoven_and_goldberger() {
        let [i, ii, iii, avr, avl, avf, ..] = leads(None);
        // Einthoven 1912 (III = II - I); Goldberger 1942 (augmented leads).
        assert_near(&[iii, avr, avl, avf], &[ii - i, -(i + ii) / 2.0, i - ii / 2.0, ii - i / 2.0]);
    }

    #[test]
    fn exchanged_cables_change_the_leads_as_published() {
        // Batchvarov, Malik and Camm 2007 (Europace, eum198): what each exchange does to the limb leads.
        use Electrode::{LeftArm, LeftLeg, RightArm, RightLeg};
        let [i, ii, iii, avr, avl, avf, chest @ ..] = leads(None);
        let arms = leads(Some((RightArm, LeftArm)));
        assert_near(&arms[..6], &[-i, iii, ii, avl, avr, avf]);
        assert_near(&arms[6..], &chest);
        assert_near(&leads(Some((LeftArm, LeftLeg)))[..6], &[ii, i, -iii, avr, avf, avl]);
        assert_near(&leads(Some((RightArm, LeftLeg)))[..6], &[-iii, -ii, -i, avf, avl, avr]);
        let neutral = leads(Some((RightArm, RightLeg)));
        assert_near(&neutral[..6], &[-iii, 0.0, iii, iii / 2.0, -iii, iii / 2.0]);
        assert_near(&neutral[6..], &chest.map(|v| v - ii / 3.0));
        assert_near(&leads(Some((LeftLeg, RightLeg))), &leads(None));
    }

    #[test]
    fn the_dipole_gives_back_dower_leads() {
        let leads = leads_of(potentials_of([900.0, 640.0, 260.0]));
        for (lead, row) in [0, 1, 6, 7, 8, 9, 10, 11].into_iter().zip(DOWER) {
            let expected = 900.0 * row[0] + 640.0 * row[1] + 260.0 * row[2];
            assert!((leads[lead] - expected).abs() < 1e-9);
        }
    }
}
