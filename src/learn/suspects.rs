//! Labels that the other readings contradict: found, left out of the lesson, and shown to the pilot.

use std::fmt;

use image::GrayImage;

use super::evidence::{Evidence, Evidences};
use super::{Course, CutGroup, Learned, TeachError, Told, ToldMoment};

/// Log odds against a label from which on it is left out.
const SUSPECT_LOG_ODDS: f32 = 1.0;

/// Rounds of cutting and leaving out: a wrong label can spoil the layout of all.
const ROUNDS: usize = 3;

/// A label that the others contradict.
#[derive(Debug, Clone)]
pub struct SuspectLabel {
    /// The label.
    pub label: Told,
    /// The text that the picture seems to show, by the digits of the other labels.
    pub seems: String,
    /// What its region shows.
    pub picture: GrayImage,
    /// The reading most at odds with it, with its picture, where it is one.
    pub witness: Option<(Told, GrayImage)>,
}

impl fmt::Display for SuspectLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} seems to show {}", self.label, self.seems)?;
        match &self.witness {
            Some((witness, _)) => write!(f, " (compare {witness})"),
            None => write!(f, ", by the shapes of its digits"),
        }
    }
}

impl Course<'_> {
    /// Learns from the labels that agree with each other; with it come those left out.
    pub(super) fn learn_from_agreeing(
        &self,
        mut kept: Vec<ToldMoment>,
    ) -> Result<(Learned, Vec<SuspectLabel>), TeachError> {
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
        Err(TeachError::NoneAgree { labels, first })
    }

    /// The labels that the others contradict, found one after the other: each may have spoiled the classes of the next.
    fn contradicted(&self, groups: &[CutGroup<'_>], moments: &[ToldMoment]) -> Vec<Evidence> {
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

    fn worst(&self, evidences: &Evidences<'_>, moments: &[ToldMoment]) -> Option<Evidence> {
        let all = evidences.against_all().into_iter();
        let mut suspects = all.take_while(|evidence| evidence.log_odds > SUSPECT_LOG_ODDS);
        suspects.find(|evidence| !self.is_insisted(&moments[evidence.order].told))
    }

    fn is_insisted(&self, label: &Told) -> bool {
        self.insisted.iter().any(|(channel, time_s)| *channel == label.channel && *time_s == label.time_s)
    }
}

/// The labels without those that evidence was found against.
fn without(labels: Vec<ToldMoment>, found: &[Evidence]) -> Vec<ToldMoment> {
    let is_kept = |order: &usize| found.iter().all(|evidence| evidence.order != *order);
    let kept = labels.into_iter().enumerate().filter(|(order, _)| is_kept(order));
    kept.map(|(_, label)| label).collect()
}

fn suspect(evidence: &Evidence, moments: &[ToldMoment]) -> SuspectLabel {
    let moment = &moments[evidence.order];
    let witness = evidence.witness.map(|order| &moments[order]);
    SuspectLabel {
        label: moment.told.clone(),
        seems: evidence.seems.clone(),
        picture: moment.centre.crop(),
        witness: witness.map(|witness| (witness.told.clone(), witness.centre.crop())),
    }
}
