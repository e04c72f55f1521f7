// Two seasons whose names are hard to show: long ones in several scripts, and ones that are HTML. The readings are
// invented, by a generator that always gives the same.
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

const LONG = [
  'heron, the long telescopic whip with the folding counterpoise',
  'πελαργός, κεραία με μακρύ τηλεσκοπικό στέλεχος και αντίβαρο 1',
  'ворона, длинная гибкая антенна с подвижным противовесом №2026',
  'ハチドリ、折りたたみ式の長いホイップアンテナ、地線つき、百四十四メガヘルツ帯と四百三十メガヘルツ帯で使う試作品その一、秋の版、黒い色の物',
  'لقلق، هوائي طويل قابل للطي مع سلك موازنة أرضي قابل للفك رقم ٣',
  'חסידה, אנטנה טלסקופית ארוכה עם משקולת נגדית מתקפלת מספר ארבע',
  'सारस, मुड़ने वाले प्रतिभार तार के साथ लंबा दूरबीन एंटीना पाँच',
  '두루미, 접이식 카운터포이즈가 달린 긴 텔레스코픽 휩 안테나 여섯 번째 시제품, 가을에 다시 만든 것, 검은색 손잡이가 달린 것 가',
  'nightingale_without_any_blank_in_its_name_so_it_cannot_break_',
  'avocet ÅÄÖ ñ ç ß ø ł ž: every letter that one keyboard lacks',
  'ĝéôłôğÿ WIDE CAPITALS WWWWWWWWWWWWWWWWWWWW MMMMMMMMMMMMMMMMM',
  'snipe 🐦 the short one, with an emoji in the middle of its name',
];
const TAGS = [
  '<b>heron</b>',
  '<script>document.title="taken"</script>',
  '"><img src=x onerror=alert(1)>',
  "'; DROP TABLE antennas; --",
  '&amp;lt;plover&gt;',
  '</title></style></svg><h1>avocet',
  '{{ view.title }} {% raw %}',
  '|godwit|*bold*|`code`|',
];

function generator(seed) {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 4294967296;
  };
}

const quoted = (text) => `"${text.replace(/\\/g, '\\\\').replace(/"/g, '\\"')}"`;
const cell = (text) => `"${text.replace(/"/g, '""')}"`;

function season(folder, title, names, band, meter) {
  mkdirSync(folder, { recursive: true });
  const toml = [`title = ${quoted(title)}`, `reference = ${quoted(names[0])}`, 'repeats = "left on"', ''];
  for (const [name, frequency] of [[band, 145.5], ['70 cm', 433.5]]) {
    toml.push('[[band]]', `name = ${quoted(name)}`, `frequency_mhz = ${frequency}`, '');
  }
  for (const [name, kind, directivity] of [[meter, 'analyzer', 35], ['inline', 'in-line', 25]]) {
    toml.push('[[meter]]', `name = ${quoted(name)}`, `kind = "${kind}"`, 'resolution = { swr = 0.01 }', `directivity_db = ${directivity}.0`, '');
  }
  toml.push('[[meter]]', 'name = "field"', 'kind = "field"', 'resolution = { field_strength = 0.1 }', '');
  names.forEach((name, i) => {
    toml.push('[[antenna]]', `name = ${quoted(name)}`, `price = ${(9.9 + 3.3 * i).toFixed(2)}`);
    toml.push('claims = [ { quantity = "swr", at_most = 1.8 } ]', '');
  });
  toml.push('[[source]]', `name = ${quoted(`echoes at ${title}`)}`, 'quantity = "field_strength"', 'shape = "arcsine"', 'half_width = 0.3', 'shared_by = "antenna"', '');
  toml.push('[matters]', 'field_strength = 1.0', 'swr = 0.3', '', '[weights]', 'field_strength = 2.0', 'swr = 1.0', '');
  writeFileSync(join(folder, 'season.toml'), toml.join('\n'));

  const random = generator(names.length);
  const normal = () => random() + random() + random() + random() - 2; // close enough for a picture
  const rows = ['session,antenna,band,meter,quantity,value,mounting'];
  for (let day = 0; day < 5; day += 1) {
    const session = `2026-0${4 + day}-11`;
    const level = 0.8 * normal();
    names.forEach((name, i) => {
      for (const mounting of [1, 2]) {
        for (const b of [band, '70 cm']) {
          const swr = 1.15 + 0.12 * i + 0.05 * normal();
          rows.push([session, cell(name), cell(b), cell(meter), 'swr', Math.max(1, swr + 0.02 * normal()).toFixed(2), mounting].join(','));
          rows.push([session, cell(name), cell(b), 'inline', 'swr', Math.max(1, swr + 0.08 + 0.04 * normal()).toFixed(2), mounting].join(','));
          rows.push([session, cell(name), cell(b), 'field', 'field_strength', (-30 - 0.7 * i + level + 0.4 * normal()).toFixed(1), mounting].join(','));
        }
      }
    });
  }
  writeFileSync(join(folder, 'readings.csv'), `${rows.join('\n')}\n`);
}

/** Writes both seasons below `home` and says where they are. */
export function seasons(home) {
  const long = join(home, 'long-names');
  season(long, 'A season of twelve antennas whose names fill sixty columns each, in many scripts', LONG.map((n) => [...n].slice(0, 60).join('').trim()), '2 m', 'analyzer');
  const tags = join(home, 'tags');
  season(tags, '<i>A season</i> & "its" <script>alert(2)</script>', TAGS, '<u>2 m</u>', 'ana<lyz>er & "co"');
  return { long, tags };
}
