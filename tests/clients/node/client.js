// The reference job through the C interface, with koffi. See ../README.md for what is written.
'use strict';

const fs = require('node:fs');
const path = require('node:path');
const koffi = require('koffi');

const [libraryPath, vehiclePath, jobPath, brokenPath, folder] = process.argv.slice(2);
const library = koffi.load(libraryPath);

koffi.opaque('faultloom_model');
koffi.opaque('faultloom_text');
koffi.opaque('faultloom_error');
koffi.proto('int32_t faultloom_progress_fn(double share, void* user)');

const ERROR = '_Out_ faultloom_error** error';
const WATCH = 'faultloom_progress_fn* progress, void* user';
const JOB = 'const faultloom_model* model, const char* job, size_t job_size';
const ASK = `${JOB}, const char* options, size_t options_size, ${WATCH}, _Out_ faultloom_text** out`;
const text = (name) => `const char* ${name}, size_t ${name}_size`;

const declare = (declaration) => library.func(declaration);
const fl = {
  abiVersion: declare('uint32_t faultloom_abi_version()'),
  version: declare('const char* faultloom_version()'),
  statusName: declare('const char* faultloom_status_name(int32_t status)'),
  errorCode: declare('int32_t faultloom_error_code(const faultloom_error* error)'),
  errorMessage: declare('const char* faultloom_error_message(const faultloom_error* error)'),
  errorPointer: declare('const char* faultloom_error_pointer(const faultloom_error* error)'),
  errorDetails: declare('const char* faultloom_error_details(const faultloom_error* error)'),
  errorFree: declare('void faultloom_error_free(faultloom_error* error)'),
  textData: declare('const void* faultloom_text_data(const faultloom_text* text)'),
  textSize: declare('size_t faultloom_text_size(const faultloom_text* text)'),
  textFree: declare('void faultloom_text_free(faultloom_text* text)'),
  modelFromJson: declare(
    `int32_t faultloom_model_from_json(${['vehicle', 'kinds', 'rates', 'instruments', 'cautions']
      .map(text)
      .join(', ')}, ${WATCH}, _Out_ faultloom_model** model, ${ERROR})`,
  ),
  modelFree: declare('void faultloom_model_free(faultloom_model* model)'),
  terminalCount: declare(
    `int32_t faultloom_terminal_count(const faultloom_model* model, _Out_ size_t* count, ${ERROR})`,
  ),
  terminalName: declare(
    `int32_t faultloom_terminal_name(const faultloom_model* model, size_t index, _Out_ const char** name, ${ERROR})`,
  ),
  terminalVolts: declare(
    `int32_t faultloom_terminal_volts(const faultloom_model* model, ${text('situation')}, _Out_ double* volts, size_t capacity, _Out_ size_t* needed, ${ERROR})`,
  ),
  modeCount: declare(
    `int32_t faultloom_mode_count(const faultloom_model* model, _Out_ size_t* count, ${ERROR})`,
  ),
  modeName: declare(
    `int32_t faultloom_mode_name(const faultloom_model* model, size_t index, _Out_ const char** name, ${ERROR})`,
  ),
  modePosteriors: declare(
    `int32_t faultloom_mode_posteriors(${JOB}, ${WATCH}, _Out_ double* posteriors, size_t capacity, _Out_ size_t* needed, ${ERROR})`,
  ),
  rank: declare(`int32_t faultloom_rank(${ASK}, ${ERROR})`),
  nextStep: declare(`int32_t faultloom_next_step(${ASK}, ${ERROR})`),
};

class Refused extends Error {
  constructor(error) {
    super(fl.errorMessage(error));
    this.status = fl.errorCode(error);
    this.name = fl.statusName(this.status);
    this.pointer = fl.errorPointer(error);
    this.details = fl.errorDetails(error);
    fl.errorFree(error);
  }
}

// A call that may fail; its error goes last and is thrown.
function call(name, ...values) {
  const error = [null];
  if (fl[name](...values, error) !== 0) throw new Refused(error[0]);
}

// A text as the C interface takes it.
const sized = (bytes) => (bytes === null ? [null, 0] : [bytes, bytes.length]);

function load(vehicle) {
  const model = [null];
  const defaults = [null, null, null, null].flatMap(sized);
  call('modelFromJson', ...sized(vehicle), ...defaults, null, null, model);
  return model[0];
}

function ask(name, model, job, options, watch = null) {
  const answer = [null];
  call(name, model, ...sized(job), ...sized(Buffer.from(options)), watch, null, answer);
  const size = Number(fl.textSize(answer[0]));
  const bytes = Buffer.from(koffi.decode(fl.textData(answer[0]), koffi.array('uint8_t', size)));
  fl.textFree(answer[0]);
  return bytes;
}

function names(title, model) {
  const count = [0];
  call(`${title}Count`, model, count);
  const words = [`${title}s`, count[0]];
  for (const index of [0, Number(count[0]) - 1]) {
    const name = [null];
    call(`${title}Name`, model, index, name);
    words.push(name[0]);
  }
  return words.join(' ');
}

// All elements of an array function.
function array(name, ...values) {
  const needed = [0];
  call(name, ...values, null, 0, needed);
  const numbers = new Float64Array(Number(needed[0]));
  call(name, ...values, numbers, numbers.length, needed);
  return [...numbers];
}

// A watcher that notes what it is told and says stop at call number `stopAt`, if that is not 0.
function watcher(stopAt) {
  const shares = [];
  const note = (share) => shares.push(share) === stopAt ? 1 : 0;
  return { shares, pointer: koffi.register(note, 'faultloom_progress_fn*') };
}

function refusal(act) {
  try {
    act();
  } catch (problem) {
    if (problem instanceof Refused) return problem;
    throw problem;
  }
  throw new Error('a call that must fail did not');
}

const [vehicle, job, broken] = [vehiclePath, jobPath, brokenPath].map((name) => fs.readFileSync(name));
const write = (name, bytes) => fs.writeFileSync(path.join(folder, name), bytes);
const model = load(vehicle);
const facts = [`version ${fl.version()}`, `abi ${fl.abiVersion()}`];
facts.push(names('terminal', model), names('mode', model));
const situation = sized(Buffer.from('{"state":{"key":"on"}}'));
facts.push(['volts', ...array('terminalVolts', model, ...situation)].join(' '));
facts.push(['posteriors', ...array('modePosteriors', model, ...sized(job), null, null)].join(' '));

write('ranking.json', ask('rank', model, job, '{"top":10,"budget_sets":500}'));
const options = '{"alternatives":1}';
const patient = watcher(0);
write('step.json', ask('nextStep', model, job, options, patient.pointer));
facts.push(['shares', ...patient.shares].join(' '));
const impatient = watcher(3);
const stopped = refusal(() => ask('nextStep', model, job, options, impatient.pointer));
facts.push(`cancelled ${stopped.status} ${impatient.shares.length}`);
[patient, impatient].forEach((one) => koffi.unregister(one.pointer));
fl.modelFree(model);

const problem = refusal(() => load(broken));
facts.push(`error ${problem.status} ${problem.name} ${problem.pointer}`, `message ${problem.message}`);
write('details.json', problem.details);
const missing = refusal(() => load(null));
facts.push(`missing ${missing.status} ${missing.message}`);
write('facts.txt', `${facts.join('\n')}\n`);
