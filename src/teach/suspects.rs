//! Labels that the other readings contradict: found, left out of the lesson, and shown to the pilot.

use std::fmt;

use image::GrayImage;

use super::evidence::{Evidence, Evidences};
use super::{Course, Learned, TeachError, Told, ToldMoment};
use crate::recognise::{Recogniser, Shown};

/// Log odds against a label from which on it is left out.
const SUSPECT_LOG_ODDS: f32 = 1.0;

/// Rounds of cutting and leaving out: a wrong label can spoil the layout of all.
const ROUNDS: usize = 3;

/// Confidence above which a label read otherwise with the glyphs learned is left out.
const SURELY_READ: f32 = 0.98;

/// Labels of a channel that may be read otherwise, as a share of all: where more are, it is rather the glyphs that are
/// wrong.
const MOST_READ_OTHERWISE: f32 = 0.34;

/// What speaks against a label.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Suspicion {
    /// A digit looks like another one of the other readings.
    LooksLike {
        /// The text that the picture seems to show.
        seems: String,
    },
    /// The glyphs learned from the other labels read another text.
    ReadOtherwise {
        /// That text.
        text: String,
    },
}

/// A label that the others contradict.
#[derive(Debug, Clone)]
pub struct SuspectLabel {
    /// The label.
    pub label: Told,
    /// What speaks against it.
    pub suspicion: Suspicion,
    /// What its region shows.
    pub picture: GrayImage,
    /// The reading most at odds with it, with its picture, where it is one.
    pub witness: Option<(Told, GrayImage)>,
}

impl fmt::Display for SuspectLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (Suspicion::LooksLike { seems: text } | Suspicion::ReadOtherwise { text }) = &self.suspicion;
        write!(f, "{} seems to show {text}", self.label)?;
        match &self.witness {
            Some((witness, _)) => write!(f, " (compare {witness})"),
            None => write!(f, ", as the other labels have it"),
        }
    }
}

impl Course<'_> {
    /// The labels that agree with each other, and those left out.
    pub(super) fn agreeing(
        &self,
        mut kept: Vec<ToldMoment>,
    ) -> Result<(Vec<ToldMoment>, Vec<SuspectLabel>), TeachError> {
        let (labels, mut suspects) = (kept.len(), Vec::new());
        for _ in 0..ROUNDS {
            let found = self.contradicted(&kept)?;
            if found.is_empty() {
                break;
            }
            suspects.extend(found.iter().map(|evidence| suspect(evidence, &kept)));
            let mut number = 0;
            kept.retain(|_| {
                number += 1;
                found.iter().all(|evidence| evidence.order != number - 1)
            });
        }
        if labels > 1 && kept.len() < 2 {
            let first = suspects.first().map(SuspectLabel::to_string).unwrap_or_default();
            return Err(TeachError::NoneAgree { labels, first });
        }
        Ok((kept, suspects))
    }

    /// The labels that the others contradict, found one after the other: each may have spoiled the classes of the next.
    fn contradicted(&self, moments: &[ToldMoment]) -> Result<Vec<Evidence>, TeachError> {
        let mut found = Vec::new();
        for (_, cuts) in self.cut(moments)?.0 {
            let mut evidences = Evidences::of(&cuts);
            while let Some(worst) = self.worst(&evidences, moments) {
                evidences.leave_out(worst.order);
                found.push(worst);
            }
        }
        Ok(found)
    }

    fn worst(&self, evidences: &Evidences<'_>, moments: &[ToldMoment]) -> Option<Evidence> {
        let all = evidences.against_all().into_iter();
        let mut suspects = all.take_while(|evidence| evidence.log_odds > SUSPECT_LOG_ODDS);
        suspects.find(|evidence| !self.is_insisted(&moments[evidence.order].told))
    }

    fn is_insisted(&self, label: &Told) -> bool {
        self.insisted.iter().any(|(channel, time_s)| *channel == label.channel && *time_s == label.time_s)
    }

    /// Reads every label back with the glyphs learned. Labels left out that are surely read as labelled come back; labels
    /// surely read otherwise are left out. The labels to learn from, where these are others now.
    pub(super) fn read_back(
        &self,
        learned: &Learned,
        kept: Vec<ToldMoment>,
        suspects: &mut Vec<SuspectLabel>,
    ) -> Option<Vec<ToldMoment>> {
        let recogniser = Recogniser::calibrate(self.regions, std::slice::from_ref(&learned.set), self.sample);
        let otherwise: Vec<Option<String>> =
            kept.iter().map(|moment| self.read_otherwise(&recogniser, moment)).collect();
        let count = otherwise.iter().flatten().count();
        if count == 0 || count as f32 > MOST_READ_OTHERWISE * kept.len() as f32 {
            return None;
        }
        let mut left = Vec::new();
        for (moment, text) in kept.into_iter().zip(otherwise) {
            match text {
                Some(text) => suspects.push(SuspectLabel {
                    label: moment.told.clone(),
                    suspicion: Suspicion::ReadOtherwise { text },
                    picture: moment.centre.crop(),
                    witness: None,
                }),
                None => left.push(moment),
            }
        }
        Some(left)
    }

    /// The text that a labelled picture is surely read as, where it is another one than labelled.
    fn read_otherwise(&self, recogniser: &Recogniser, moment: &ToldMoment) -> Option<String> {
        let number = self.regions.iter().position(|region| region.channel == moment.told.channel)?;
        match recogniser.read_patch(number, &moment.centre) {
            Shown::Text { text, confidence, .. }
                if confidence > SURELY_READ && text != moment.told.text && !self.is_insisted(&moment.told) =>
            {
                Some(text)
            }
            _ => None,
        }
    }
}

fn suspect(evidence: &Evidence, moments: &[ToldMoment]) -> SuspectLabel {
    let moment = &moments[evidence.order];
    let witness = evidence.witness.map(|(order, _)| &moments[order]);
    SuspectLabel {
        label: moment.told.clone(),
        suspicion: Suspicion::LooksLike { seems: evidence.seems.clone() },
        picture: moment.centre.crop(),
        witness: witness.map(|witness| (witness.told.clone(), witness.centre.crop())),
    }
}
