//! What was seen when a machine carried out orders in the field: one record a trial.

/// One trial of one order. `None` is what nobody observed; it is neither yes nor no.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trial {
    /// Id of the order that was tried.
    pub order: String,
    /// Whether the tool came to where it should.
    pub reached: Option<bool>,
    /// Whether the fruit was within the tool when it closed.
    pub enclosed: Option<bool>,
    /// Whether the stem was cut.
    pub cut: Option<bool>,
    /// Whether anything was harmed that should not be: fruit to keep, spur, limb, leaves, wires, the machine.
    pub damage: Option<bool>,
    /// How long it took, in seconds.
    pub seconds: Option<f64>,
    /// Why it failed, in words.
    pub cause: Option<String>,
    /// The tool that was used.
    pub tool: Option<String>,
}

/// What an order said of its success before anybody tried it.
#[derive(Debug, Clone, PartialEq)]
pub struct StatedChance {
    /// Id of the order.
    pub order: String,
    /// Probability of success, 0 to 1, after the place has been found again; `None` for an order to look.
    pub success_probability: Option<f64>,
}
