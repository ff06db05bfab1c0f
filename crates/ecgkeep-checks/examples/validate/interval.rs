//! Shares with their uncertainty.

/// Percent with Wilson's 95 % interval (Wilson, J Am Stat Assoc 1927;22:209); `-` of nothing.
pub fn interval(found: usize, of: usize) -> String {
    if of == 0 {
        return "-".to_owned();
    }
    let (n, p, z) = (of as f64, found as f64 / of as f64, 1.959_964);
    let centre = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    format!(
        "{:.0} ({:.0} to {:.0})",
        100.0 * p,
        100.0 * (centre - half).max(0.0),
        100.0 * (centre + half).min(1.0)
    )
}
