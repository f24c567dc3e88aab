//! Did you mean: the nearest of the names that exist.

/// The nearest name, where one is near enough to be a slip of the finger.
pub fn nearest<S: AsRef<str>>(name: &str, known: impl IntoIterator<Item = S>) -> Option<String> {
    known
        .into_iter()
        .map(|candidate| (distances(name, candidate.as_ref()), candidate.as_ref().to_owned()))
        .min()
        .filter(|((distance, _), _)| *distance <= 2 + name.chars().count() / 5)
        .map(|(_, candidate)| candidate)
}

/// Letters of the wrong case count least.
fn distances(name: &str, candidate: &str) -> (usize, usize) {
    let apart = strsim::osa_distance(&name.to_lowercase(), &candidate.to_lowercase());
    (apart, strsim::osa_distance(name, candidate))
}

/// A mend that names the nearest, or lists what exists.
pub fn mend<S: AsRef<str>>(name: &str, known: &[S]) -> String {
    match nearest(name, known.iter().map(AsRef::as_ref)) {
        Some(near) => format!("did you mean `{near}`?"),
        None if known.is_empty() => "nothing of this kind exists here".to_owned(),
        None => format!("write one of: {}", listed(known)),
    }
}

/// Names joined by commas, at most a dozen.
pub fn listed<S: AsRef<str>>(known: &[S]) -> String {
    let mut shown: Vec<&str> = known.iter().map(AsRef::as_ref).take(12).collect();
    if known.len() > 12 {
        shown.push("…");
    }
    shown.join(", ")
}
