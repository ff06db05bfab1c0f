//! Small statistics over microvolts, all of linear cost.

/// The median (the mean of the two middle values), NaN left out; NaN where nothing is left. Reorders `values`.
pub(crate) fn median(values: &mut Vec<f64>) -> f64 {
    values.retain(|value| !value.is_nan());
    if values.is_empty() {
        return f64::NAN;
    }
    let (middle, is_odd) = (values.len() / 2, values.len() % 2 == 1);
    let (low, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if is_odd {
        return upper;
    }
    let lower = low.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    f64::midpoint(lower, upper)
}

/// The centred moving average over `width` samples (the two ends at half weight where that is even), over fewer
/// at the ends of the series. `values` holds no NaN.
pub(crate) fn moving_average(values: &[f64], width: usize) -> Vec<f64> {
    let (n, half) = (values.len(), width.max(1) / 2);
    if half == 0 {
        return values.to_vec();
    }
    let end_weight = if width.is_multiple_of(2) { 0.5 } else { 1.0 };
    // sums[i] is the sum of the first i values
    let mut sums = Vec::with_capacity(n + 1);
    sums.push(0.0);
    sums.extend(values.iter().scan(0.0, |sum, value| {
        *sum += value;
        Some(*sum)
    }));
    // The samples closer than `half` at full weight, the two at `half` at the weight of the ends.
    let at = |index: usize| {
        let (from, to) = ((index + 1).saturating_sub(half), (index + half).min(n));
        let (mut sum, mut weight) = (sums[to] - sums[from], count(to - from));
        for end in [index.checked_sub(half), Some(index + half)].into_iter().flatten() {
            if let Some(value) = values.get(end) {
                sum += end_weight * value;
                weight += end_weight;
            }
        }
        sum / weight
    };
    if n <= 2 * half {
        return (0..n).map(at).collect();
    }
    let mut averages: Vec<f64> = Vec::with_capacity(n);
    averages.extend((0..half).map(at));
    // The same where both ends are inside, written so that it needs no decisions.
    let share = 1.0 / (count(2 * half - 1) + 2.0 * end_weight);
    let inner = sums[2 * half..].iter().zip(&sums[1..]).map(|(to, from)| to - from);
    let ends = values.iter().zip(&values[2 * half..]).map(|(left, right)| end_weight * (left + right));
    averages.extend(ends.zip(inner).map(|(ends, inner)| (ends + inner) * share));
    averages.extend((n - half..n).map(at));
    averages
}

/// The values with every NaN replaced by the last value before it (the first value, at the start); zeros where
/// there is no value at all.
pub(crate) fn gaps_held(values: &[f64]) -> Vec<f64> {
    let first = values.iter().copied().find(|value| !value.is_nan()).unwrap_or(0.0);
    let mut last = first;
    let hold = |value: &f64| {
        if !value.is_nan() {
            last = *value;
        }
        last
    };
    values.iter().map(hold).collect()
}

/// A count as a number.
#[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^53")]
pub(crate) fn count(n: usize) -> f64 {
    n as f64
}

/// Mean, root mean square about the mean, root mean square and largest magnitude; NaN left out.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Spread {
    pub n: usize,
    pub mean: f64,
    pub deviation: f64,
    pub rms: f64,
    pub largest: f64,
}

impl Spread {
    pub fn of(values: impl Iterator<Item = f64> + Clone) -> Spread {
        let (mut n, mut sum, mut squares, mut largest) = (0usize, 0.0, 0.0, 0.0f64);
        for value in values.clone().filter(|value| !value.is_nan()) {
            n += 1;
            sum += value;
            squares += value * value;
            largest = largest.max(value.abs());
        }
        if n == 0 {
            return Spread::default();
        }
        let mean = sum / count(n);
        let about: f64 = values.filter(|value| !value.is_nan()).map(|value| (value - mean).powi(2)).sum();
        Spread { n, mean, deviation: (about / count(n)).sqrt(), rms: (squares / count(n)).sqrt(), largest }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, sample by sample.
    fn slow_average(values: &[f64], width: usize) -> Vec<f64> {
        let half = i64::try_from(width / 2).unwrap();
        let one = |index: usize| {
            let (mut sum, mut weight) = (0.0, 0.0);
            for offset in -half..=half {
                let at = i64::try_from(index).unwrap() + offset;
                if let Some(value) = usize::try_from(at).ok().and_then(|at| values.get(at)) {
                    let share = if width.is_multiple_of(2) && offset.abs() == half { 0.5 } else { 1.0 };
                    sum += share * value;
                    weight += share;
                }
            }
            sum / weight
        };
        (0..values.len()).map(one).collect()
    }

    #[test]
    fn a_moving_average_is_the_weighted_mean_around_each_sample() {
        let values: Vec<f64> = (0..40).map(|index| f64::from((index * 37) % 23)).collect();
        for width in [1, 2, 3, 4, 7, 10, 39, 40, 41, 80, 500] {
            let expected = slow_average(&values, width);
            for (a, b) in moving_average(&values, width).iter().zip(&expected) {
                assert!((a - b).abs() < 1e-9, "{width}: {a} {b}");
            }
        }
        assert!(moving_average(&[], 5).is_empty());
    }

    #[test]
    fn an_even_moving_average_removes_its_period() {
        // ten samples of a sine of ten samples' period
        let values: Vec<f64> =
            (0..100).map(|n| (f64::from(n) * std::f64::consts::TAU / 10.0).sin()).collect();
        assert!(moving_average(&values, 10)[5..95].iter().all(|value| value.abs() < 1e-12));
    }

    #[test]
    fn a_median_leaves_out_what_is_missing() {
        assert_eq!(median(&mut vec![3.0, f64::NAN, 1.0]), 2.0);
        assert_eq!(median(&mut vec![3.0, 9.0, 1.0]), 3.0);
        assert!(median(&mut vec![f64::NAN]).is_nan());
    }

    #[test]
    fn gaps_hold_the_last_value() {
        assert_eq!(gaps_held(&[f64::NAN, 2.0, f64::NAN, 3.0]), [2.0, 2.0, 2.0, 3.0]);
        assert_eq!(gaps_held(&[f64::NAN]), [0.0]);
    }
}
