//! Labels that the other readings contradict: found, left out of the lesson, and shown to the pilot.

use std::fmt;

use image::GrayImage;

use super::evidence::{Evidence, Evidences};
use super::{Course, CutGroup, LabelledReading, LearnError, Learned, TrainingExample};

/// Log odds against a label from which on it is left out.
const SUSPECT_LOG_ODDS: f32 = 1.0;

/// Rounds of cutting and leaving out: a wrong label can spoil the layout of all.
const ROUNDS: usize = 3;

/// The label that contradicts another one most.
#[derive(Debug, Clone)]
pub struct ConflictingLabel {
    /// The label.
    pub label: LabelledReading,
    /// What its region shows.
    pub image: GrayImage,
}

/// A label that the others contradict.
#[derive(Debug, Clone)]
pub struct SuspectLabel {
    /// The label.
    pub label: LabelledReading,
    /// The text that the picture seems to show, by the digits of the other labels.
    pub likely_text: String,
    /// What its region shows.
    pub image: GrayImage,
    /// The label that contradicts it most; `None` where only the shapes of the digits do.
    pub conflicting: Option<ConflictingLabel>,
}

impl fmt::Display for SuspectLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} seems to show {}", self.label, self.likely_text)?;
        match &self.conflicting {
            Some(other) => write!(f, " (compare {})", other.label),
            None => write!(f, ", by the shapes of its digits"),
        }
    }
}

impl Course<'_> {
    /// Learns from the labels that agree with each other; with it come those left out.
    pub(super) fn learn_from_agreeing(
        &self,
        mut kept: Vec<TrainingExample>,
    ) -> Result<(Learned, Vec<SuspectLabel>), LearnError> {
        let (labels, mut suspects) = (kept.len(), Vec::new());
        for round in 0.. {
            let cut = self.cut(&kept)?;
            let found = if round < ROUNDS { self.contradicted(&cut.0, &kept) } else { Vec::new() };
            if found.is_empty() {
                return Ok((self.learn(&cut), suspects));
            }
            suspects.extend(found.iter().map(|evidence| suspect(evidence, &kept)));
            drop(cut);
            kept = without(kept, &found);
            if kept.len() < labels.min(2) {
                break;
            }
        }
        let first = suspects.first().map(SuspectLabel::to_string).unwrap_or_default();
        Err(LearnError::NoneAgree { labels, first })
    }

    /// The labels that the others contradict, found one after the other: each may have spoiled the classes of the next.
    fn contradicted(&self, groups: &[CutGroup<'_>], moments: &[TrainingExample]) -> Vec<Evidence> {
        let mut found = Vec::new();
        for (group, cuts) in groups {
            let mut evidences = Evidences::of(group, cuts);
            while let Some(worst) = self.worst(&evidences, moments) {
                evidences.leave_out(worst.order);
                found.push(worst);
            }
        }
        found
    }

    fn worst(&self, evidences: &Evidences<'_>, moments: &[TrainingExample]) -> Option<Evidence> {
        let all = evidences.against_all().into_iter();
        let mut suspects = all.take_while(|evidence| evidence.log_odds > SUSPECT_LOG_ODDS);
        suspects.find(|evidence| !self.is_insisted(&moments[evidence.order].label))
    }

    fn is_insisted(&self, label: &LabelledReading) -> bool {
        self.insisted.iter().any(|(channel, time_s)| *channel == label.channel && *time_s == label.time_s)
    }
}

/// The labels without those that evidence was found against.
fn without(labels: Vec<TrainingExample>, found: &[Evidence]) -> Vec<TrainingExample> {
    let is_kept = |order: &usize| found.iter().all(|evidence| evidence.order != *order);
    let kept = labels.into_iter().enumerate().filter(|(order, _)| is_kept(order));
    kept.map(|(_, label)| label).collect()
}

fn suspect(evidence: &Evidence, moments: &[TrainingExample]) -> SuspectLabel {
    let moment = &moments[evidence.order];
    let witness = evidence.witness.map(|order| &moments[order]);
    SuspectLabel {
        label: moment.label.clone(),
        likely_text: evidence.seems.clone(),
        image: moment.centre.crop(),
        conflicting: witness
            .map(|other| ConflictingLabel { label: other.label.clone(), image: other.centre.crop() }),
    }
}
