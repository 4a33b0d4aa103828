// Opens the pages of an export in a headless browser: accessibility (axe),
// that nothing is fetched from elsewhere, that clips play to their end, and
// the printed sheets of both paper sizes.
//
//   node check_pages.cjs EXPORT_FOLDER WORK_FOLDER

const fs = require("fs");
const path = require("path");
const { pathToFileURL } = require("url");
const puppeteer = require("puppeteer-core");

const [exported, work] = process.argv.slice(2);
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

(async () => {
  const browser = await puppeteer.launch({
    executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
    args: ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
  });
  console.log(await browser.version());
  const folder = path.join(exported, "skaters");
  const pages = ["index.html", ...fs.readdirSync(folder).map((f) => `skaters/${f}`)];
  let faults = 0;
  let played = 0;
  for (const [i, file] of pages.entries()) {
    const url = pathToFileURL(path.join(exported, file)).href;
    // As the reader gets it: without script.
    const plain = await browser.newPage();
    await plain.setJavaScriptEnabled(false);
    const foreign = [];
    plain.on("request", (r) => {
      if (!r.url().startsWith("file:") && !r.url().startsWith("data:")) foreign.push(r.url());
    });
    const missing = [];
    plain.on("requestfailed", (r) => missing.push(r.url()));
    await plain.setViewport({ width: 1100, height: 900 });
    await plain.goto(url, { waitUntil: "load" });
    if (foreign.length || missing.length) {
      console.log(`FAULT: ${file}: fetched ${foreign}, missing ${missing}`);
      faults += 1;
    }
    const name = file.replace(/[^a-z0-9]+/gi, "-");
    await plain.screenshot({ path: path.join(process.env.PICTURES || work, `${name}.png`), fullPage: true });
    for (const format of ["A4", "Letter"]) {
      await plain.pdf({ path: path.join(work, `${name}-${format}.pdf`), format, preferCSSPageSize: false, printBackground: true });
    }
    await plain.setViewport({ width: 360, height: 740 });
    await plain.screenshot({ path: path.join(process.env.PICTURES || work, `${name}-phone.png`), fullPage: true });
    await plain.close();
    // With it, for the checks.
    const page = await browser.newPage();
    await page.goto(url, { waitUntil: "load" });
    const wide = await page.evaluate(() => document.documentElement.scrollWidth > window.innerWidth);
    if (wide) { console.log(`FAULT: ${file} is wider than the window`); faults += 1; }
    await page.evaluate(axe);
    const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations", "incomplete"] }));
    for (const v of found.violations) {
      console.log(`FAULT: ${file}: axe ${v.id} (${v.impact}): ${v.help}; ${v.nodes.length} places, ${v.nodes[0].html.slice(0, 120)}`);
      faults += 1;
    }
    const open = found.incomplete.map((v) => `${v.id} (${v.nodes.length})`).join(", ");
    console.log(`${file}: axe ${found.testEngine.version}: ${found.passes.length} rules passed, ${found.violations.length} violated; to be looked at by a person: ${open || "none"}`);
    if (i < 3) {
      const results = await page.evaluate(async () => {
        const all = [];
        for (const video of [...document.querySelectorAll("video")].slice(0, 3)) {
          all.push(await new Promise((done) => {
            const over = setTimeout(() => done("no end after 30 s"), 30000);
            video.onended = () => { clearTimeout(over); done(`${video.videoWidth}x${video.videoHeight} ${video.duration.toFixed(2)} s`); };
            video.onerror = () => { clearTimeout(over); done(`error ${video.error && video.error.message}`); };
            video.querySelector("source").onerror = () => { clearTimeout(over); done("source refused"); };
            video.play().catch((e) => done(`play: ${e.message}`));
          }));
        }
        return all;
      });
      for (const r of results) {
        played += 1;
        if (!/^\d+x\d+ /.test(r)) { console.log(`FAULT: ${file}: clip: ${r}`); faults += 1; }
      }
      if (results.length) console.log(`${file}: clips played to their end: ${results.join("; ")}`);
    }
    await page.close();
  }
  await browser.close();
  console.log(`${pages.length} pages, ${played} clips played, ${faults} faults`);
  process.exit(faults ? 1 : 0);
})();
