// What the scripts say, in the language of the page. English stands where it is said; other languages come with
// the page as a table: <template id="said-words">{"Connected again.": "…"}</template>
let table = null;

/** The sentence in the page's language, its places {} filled in their order. */
export function t(english, ...values) {
  if (table === null) {
    try {
      table = JSON.parse(document.getElementById("said-words")?.content.textContent ?? "{}");
    } catch {
      table = {};
    }
  }
  let place = 0;
  return (table[english] ?? english).replace(/\{(\d*)\}/g, (_, number) => values[number === "" ? place++ : Number(number)] ?? "");
}
