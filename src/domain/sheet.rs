//! A sheet that gives other minutes for other hair: which of them a head takes.
//!
//! The weakest place felt sets the time for the whole head (2-domain.md, Strand: "the weakest sets strength and time").
//! Where the sheet has no row for that hair its general one speaks; where it has neither, the strictest of what it says.
//! The database chooses the same row where a run begins (`rinsebell_sheet_most`).

use super::chemistry::family::coded;
use super::plan_check::{Felt, Porosity, Texture};

coded! {
    /// For which hair a sheet gives its minutes; after the general row the weakest first.
    SheetHair {
        /// Whatever the hair: the general row.
        Any = "any", "any hair";
        /// Fine, or as quick: porous, lightened, breaking (trade-rules.md, Hair and scalp: mild at most, handbook).
        Fine = "fine", "fine, porous or lightened hair";
        /// Medium.
        Medium = "medium", "medium hair";
        /// Coarse, resistant.
        Coarse = "coarse", "coarse, resistant hair";
    }
}

/// A row of a sheet, for one clock. Minutes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SheetRow {
    /// For which hair.
    pub hair: SheetHair,
    /// When it is meant to end.
    pub target_min: f32,
    /// Never longer.
    pub most_min: f32,
}

/// The weakest hair felt anywhere; none where no texture was felt and nothing weak was seen.
pub fn weakest(felt: &[Felt]) -> Option<SheetHair> {
    let of = |f: &Felt| {
        if f.porosity == Some(Porosity::High) || f.lightened || f.breakage {
            return Some(SheetHair::Fine);
        }
        f.texture.map(|t| match t {
            Texture::Fine => SheetHair::Fine,
            Texture::Medium => SheetHair::Medium,
            Texture::Coarse => SheetHair::Coarse,
        })
    };
    felt.iter().filter_map(of).min()
}

/// The row that this hair takes, by its place in `rows` (all of one clock); none where there is no row.
pub fn choose(rows: &[SheetRow], felt: Option<SheetHair>) -> Option<usize> {
    let of = |hair: SheetHair| rows.iter().position(|r| r.hair == hair);
    let strictest = || {
        let all = rows.iter().enumerate();
        all.min_by(|(_, a), (_, b)| {
            (a.most_min, a.target_min)
                .partial_cmp(&(b.most_min, b.target_min))
                .unwrap_or(std::cmp::Ordering::Equal)
        })
        .map(|(i, _)| i)
    };
    felt.and_then(of).or_else(|| of(SheetHair::Any)).or_else(strictest)
}

/// Two rows that contradict the trade: weaker hair given longer than stronger, or fine hair longer than any. Such a sheet
/// was misread. The weaker first.
pub fn contradiction(rows: &[SheetRow]) -> Option<(SheetHair, SheetHair)> {
    let weaker = |a: SheetHair, b: SheetHair| match (a, b) {
        (SheetHair::Fine, SheetHair::Any) => true,
        (SheetHair::Any, _) | (_, SheetHair::Any) => false,
        (a, b) => a < b,
    };
    let pairs = rows.iter().flat_map(|a| rows.iter().map(move |b| (a, b)));
    pairs
        .into_iter()
        .find(|(a, b)| weaker(a.hair, b.hair) && (a.most_min > b.most_min || a.target_min > b.target_min))
        .map(|(a, b)| (a.hair, b.hair))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(hair: SheetHair, target_min: f32, most_min: f32) -> SheetRow {
        SheetRow { hair, target_min, most_min }
    }

    #[test]
    fn the_weakest_place_names_the_hair() {
        let texture = |t| Felt { texture: Some(t), ..Felt::default() };
        assert_eq!(weakest(&[]), None);
        assert_eq!(weakest(&[Felt::default()]), None);
        assert_eq!(weakest(&[texture(Texture::Coarse), texture(Texture::Medium)]), Some(SheetHair::Medium));
        assert_eq!(weakest(&[texture(Texture::Coarse)]), Some(SheetHair::Coarse));
        // trade-rules.md, Hair and scalp: "high porosity, fine hair, coloured hair: mild strength at most" (handbook).
        for weak in [
            Felt { porosity: Some(Porosity::High), ..texture(Texture::Coarse) },
            Felt { lightened: true, ..texture(Texture::Coarse) },
            Felt { breakage: true, ..texture(Texture::Coarse) },
            texture(Texture::Fine),
        ] {
            assert_eq!(weakest(&[texture(Texture::Coarse), weak]), Some(SheetHair::Fine));
        }
    }

    #[test]
    fn a_hair_takes_its_own_row_else_the_general_one_else_the_strictest() {
        use SheetHair::{Any, Coarse, Fine, Medium};
        let rows = [row(Any, 12.0, 14.0), row(Coarse, 14.0, 15.0), row(Fine, 9.0, 11.0)];
        assert_eq!(choose(&rows, Some(Fine)), Some(2));
        assert_eq!(choose(&rows, Some(Coarse)), Some(1));
        assert_eq!(choose(&rows, Some(Medium)), Some(0));
        assert_eq!(choose(&rows, None), Some(0));
        assert_eq!(choose(&rows[1..], Some(Medium)), Some(1), "no general row: the strictest");
        assert_eq!(choose(&rows[1..], None), Some(1));
        assert_eq!(choose(&[], Some(Fine)), None);
    }

    #[test]
    fn weaker_hair_is_never_given_longer() {
        use SheetHair::{Any, Coarse, Fine, Medium};
        let fine = [row(Any, 12.0, 14.0), row(Coarse, 14.0, 18.0), row(Fine, 9.0, 11.0)];
        assert_eq!(contradiction(&fine), None);
        assert_eq!(contradiction(&[row(Fine, 12.0, 16.0), row(Medium, 12.0, 14.0)]), Some((Fine, Medium)));
        assert_eq!(contradiction(&[row(Fine, 15.0, 15.0), row(Any, 12.0, 15.0)]), Some((Fine, Any)));
        assert_eq!(contradiction(&[row(Coarse, 10.0, 12.0), row(Any, 12.0, 14.0)]), None, "a careful sheet");
    }
}
