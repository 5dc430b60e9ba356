// Prints, as JSON, when the sun is at -0.8333 and -6 degrees on many dates at many places, as
// the astronomy-engine library has it: an independent reference for triage's sun. Usage:
//   npm install --prefix DIR astronomy-engine@2.1.19
//   node sun.mjs DIR/node_modules/astronomy-engine/astronomy.js >sun.json
import { createRequire } from "node:module";

const { Body, Observer, SearchAltitude, SearchHourAngle, MakeTime } = createRequire(import.meta.url)(process.argv[2]);

const places = [
  ["America/New_York", 42.444, -76.5019], ["America/Phoenix", 33.4484, -112.074], ["America/Anchorage", 61.2181, -149.9003],
  ["America/Guayaquil", -0.1807, -78.4678], ["America/Argentina/Ushuaia", -54.8019, -68.303], ["Europe/London", 51.5074, -0.1278],
  ["Europe/Oslo", 69.6492, 18.9553], ["Arctic/Longyearbyen", 78.2232, 15.6267], ["Africa/Nairobi", -1.2921, 36.8219],
  ["Asia/Shanghai", 39.4704, 75.9898], ["Australia/Sydney", -33.8688, 151.2093], ["Pacific/Auckland", -36.8485, 174.7633],
  ["Antarctica/McMurdo", -77.8419, 166.6863], ["Asia/Kolkata", 19.076, 72.8777],
];

// Every sixth day of the year, and the days around each change of the clocks.
const days = new Set();
const day = (d) => days.add(d.toISOString().slice(0, 10));
for (let n = 0; n < 365; n += 6) day(new Date(Date.UTC(2026, 0, 1 + n)));
for (const edge of ["2026-03-08", "2026-03-29", "2026-04-05", "2026-09-27", "2026-10-04", "2026-10-25", "2026-11-01"]) {
  for (const by of [-1, 0, 1]) day(new Date(Date.parse(edge) + by * 864e5));
}

const rows = [];
for (const [zone, lat, lon] of places) {
  const observer = new Observer(lat, lon, 0);
  for (const date of [...days].sort()) {
    const mean = Date.parse(date + "T12:00:00Z") - lon * 240e3;
    const noon = SearchHourAngle(Body.Sun, observer, 0, MakeTime(new Date(mean - 36e5))).time.date.getTime();
    const at = (direction, degrees) => {
      const from = direction > 0 ? noon - 432e5 : noon;
      const found = SearchAltitude(Body.Sun, observer, direction, MakeTime(new Date(from)), 0.5, degrees);
      return found ? Math.round(found.date.getTime() / 1000) : 0;
    };
    rows.push({ zone, lat, lon, date, rise: at(1, -0.8333), set: at(-1, -0.8333), dawn: at(1, -6), dusk: at(-1, -6) });
  }
}
process.stdout.write(JSON.stringify(rows) + "\n");
