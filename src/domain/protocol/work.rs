//! What a step does beside putting product on: mixes it, warms it, watches it, records a test.

use super::step::Mark;
use crate::domain::chemistry::family::coded;

coded! {
    /// Whether the protocol gives a service or only a test.
    Kind {
        /// Something is put on the head.
        Service = "service", "service";
        /// Something is tried and read; nothing opening goes on the head.
        TestVisit = "test-visit", "test visit";
    }
}

coded! {
    /// A part of a mixture.
    MixPart {
        /// The cream of a two-part relaxer.
        Cream = "cream", "cream";
        /// The activator of a two-part relaxer.
        Activator = "activator", "activator";
        /// Colour.
        Colour = "colour", "colour";
        /// Lightener.
        Lightener = "lightener", "lightener";
        /// Developer.
        Developer = "developer", "developer";
        /// The waving lotion of a two-part wave.
        Lotion = "lotion", "lotion";
    }
}

/// Parts mixed for this head, by the sheet's proportions; the rest is thrown away.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mix {
    /// The application the mixture is for.
    pub application: char,
    /// Two parts or more.
    pub parts: Vec<MixPart>,
}

coded! {
    /// Warmth while a product works. There is no figure of ours: heat is given by the product sheet alone.
    Heat {
        /// None.
        None = "none", "no heat";
        /// Under the hood, as long and as warm as the sheet says.
        HoodBySheet = "hood-by-sheet", "hood, as long and as warm as the product sheet says";
    }
}

coded! {
    /// What is watched while a product works.
    LookFor {
        /// The back of a comb pressed into the hair: a deep dent means enough.
        CombBack = "comb-back", "comb-back press";
        /// How far the hair has lightened.
        Lift = "lift", "lift";
        /// How far the colour has come.
        Colour = "colour", "colour";
        /// A rod unwound.
        TestCurl = "test-curl", "test curl";
    }
}

/// A reading that is due again and again until the product is rinsed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// What is read.
    pub what: LookFor,
    /// Minutes to the next look.
    pub every_min: u16,
    /// Minutes from first touch to the first look; where a clock of a test curl has a shortest time, that instead.
    pub from_min: Option<u16>,
    /// How far these minutes can be trusted.
    pub mark: Mark,
}

impl Look {
    /// Minutes from first touch to the first look: its own, else as from look to look.
    pub fn first_min(&self) -> u16 {
        self.from_min.unwrap_or(self.every_min)
    }
}

coded! {
    /// A test that a step places or reads and puts in the client's tests.
    TestKind {
        /// On skin.
        PatchTest = "patch-test", "patch test";
        /// On a strand.
        StrandTest = "strand-test", "strand test";
        /// On cut hair, for metal.
        MetallicSaltTest = "metallic-salt-test", "metallic-salt test";
    }
}

coded! {
    /// The head that a service is written for: what its hair has met.
    Head {
        /// Nothing that changes hair.
        Virgin = "virgin", "virgin hair";
        /// Colour, no straightener and no relaxer.
        Coloured = "coloured", "previously coloured hair";
        /// The same service before: only the new growth has not met it.
        Retouch = "retouch", "a retouch";
        /// Whatever the plan check lets through.
        Any = "any", "any hair";
    }
}
