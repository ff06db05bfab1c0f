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

/// The centred moving average over `width` samples (one more where even), over fewer at the ends.
/// `values` holds no NaN.
pub(crate) fn moving_average(values: &[f64], width: usize) -> Vec<f64> {
    let half = width / 2;
    let n = values.len();
    let mut averages = Vec::with_capacity(n);
    let (mut sum, mut start, mut end) = (0.0, 0usize, 0usize);
    for index in 0..n {
        let (from, to) = (index.saturating_sub(half), (index + half + 1).min(n));
        while end < to {
            sum += values[end];
            end += 1;
        }
        while start < from {
            sum -= values[start];
            start += 1;
        }
        averages.push(sum / count(to - from));
    }
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
