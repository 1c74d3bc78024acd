// Of the papers. A sheet that holds much is set smaller, step by step, until it fits its A4. Without this a long one takes two.
const STEPS = 10;

function fit(sheet) {
  const page = parseFloat(getComputedStyle(sheet).minHeight);
  for (let step = 0; step <= STEPS; step += 1) {
    sheet.dataset.fit = step;
    if (sheet.offsetHeight <= page + 1) return;
  }
}

await document.fonts.ready;
for (const sheet of document.querySelectorAll(".ticket")) fit(sheet);
document.documentElement.dataset.fitted = "yes";
