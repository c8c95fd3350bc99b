//! The settings of the whole job: those of its stages.

/// One part a stage; the default of each field is that stage's default.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct JobConfig {
    /// Of fusion.
    pub fusion: corymb_fusion::Config,
    /// Of clusters.
    pub clusters: corymb_clusters::Config,
    /// Of approach.
    pub approach: corymb_approach::Config,
    /// Of thinning.
    pub thinning: corymb_thinning::Config,
    /// Of sequence.
    pub sequence: corymb_sequence::Config,
}
