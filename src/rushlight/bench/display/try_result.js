// What the command `assess` says of the sitting, as it says it: nothing is computed here.
import {text} from "./texts.js";

const DIGITS = 3;

function cell(words, kind, number) {
  const element = document.createElement(kind);
  element.textContent = words;
  if (number) element.className = "number";
  return element;
}

const shown = value => (value === null ? "–" : Number(value.toPrecision(DIGITS)).toString());

/** Fills the table of figures; the figures over all conditions come first. */
export function showFigures(table, assessment) {
  const head = document.createElement("tr");
  const heads = ["figure", "value", "interval", "unit"];
  heads.forEach((word, i) => {
    const element = cell(text(`try.head_${word}`), "th", i === 1 || i === 2);
    element.scope = "col";
    head.append(element);
  });
  const top = document.createElement("thead"), body = document.createElement("tbody");
  top.append(head);
  table.replaceChildren(top, body);
  const figures = [...assessment.figures].sort(
    (a, b) => Number(a.scope.condition !== null) - Number(b.scope.condition !== null));
  for (const figure of figures) {
    const row = document.createElement("tr");
    const name = [figure.name.replaceAll("-", " "), figure.statistic].join(", ");
    const header = cell(figure.scope.condition ? `${name} (${figure.scope.condition})` : name, "th");
    header.scope = "row";
    const interval = figure.low === null ? "–" : text("try.to",
      {low: shown(figure.low), high: shown(figure.high)});
    row.append(header, cell(shown(figure.value), "td", true), cell(interval, "td", true),
      cell(figure.unit, "td"));
    body.append(row);
  }
}

/** The findings as sentences. */
export function showFindings(element, assessment) {
  element.replaceChildren(...assessment.findings.map(finding => {
    const {where, given, allowed, remedy} = finding;
    const words = `${where}${given ? ` = ${given}` : ""} ${allowed}${remedy ? `; ${remedy}` : ""}.`;
    return cell(words, "p");
  }));
}
