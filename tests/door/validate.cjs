// Reads {address: html} on standard input, prints what html-validate's standard preset finds in each.
"use strict";
const { HtmlValidate } = require("html-validate");
const judge = new HtmlValidate({ root: true, extends: ["html-validate:standard"] });
let text = "";
process.stdin.on("data", (part) => { text += part; });
process.stdin.on("end", async () => {
  const found = [];
  for (const [address, html] of Object.entries(JSON.parse(text))) {
    const { results } = await judge.validateString(html);
    for (const each of results.flatMap((result) => result.messages)) {
      found.push(`${address}: ${each.ruleId}: ${each.message} (line ${each.line}: ${html.split("\n")[each.line - 1].slice(0, 160)})`);
    }
  }
  process.stdout.write(JSON.stringify(found));
});
