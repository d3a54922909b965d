#include <faultloom/documents/instruments_reader.hpp>

#include <faultloom/base/error.hpp>
#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <span>
#include <string>
#include <vector>

namespace faultloom::documents {
namespace {

using nlohmann::json;
using readings::Instrument;

/// A number that instruments of one type have. Keys carry units, members don't.
struct Field {
  std::string_view key;
  double Instrument::*member;
  bool required;
  bool positive;  ///< above zero rather than at least zero
};

constexpr std::array voltmeter_fields{
    Field{"resistance_ohm", &Instrument::resistance_ohm, true, true},
    Field{"noise_relative", &Instrument::noise_relative, false, false},
    Field{"noise_volt", &Instrument::noise_absolute, false, false},
    Field{"resolution_volt", &Instrument::resolution, true, true},
    Field{"full_scale_volt", &Instrument::full_scale, true, true},
};
constexpr std::array lamp_fields{
    Field{"rated_volt", &Instrument::rated_volt, true, true},
    Field{"rated_watt", &Instrument::rated_watt, true, true},
    Field{"current_exponent", &Instrument::current_exponent, false, true},
    Field{"light_exponent", &Instrument::light_exponent, false, true},
    Field{"bright_from", &Instrument::bright_from, false, true},
    Field{"dark_below", &Instrument::dark_below, false, true},
    Field{"judgement_sigma", &Instrument::judgement_sigma, false, true},
    Field{"misjudged", &Instrument::misjudged, false, false},
};
constexpr std::array ohmmeter_fields{
    Field{"noise_relative", &Instrument::noise_relative, false, false},
    Field{"noise_ohm", &Instrument::noise_absolute, false, false},
    Field{"resolution_ohm", &Instrument::resolution, true, true},
    Field{"full_scale_ohm", &Instrument::full_scale, true, true},
};
constexpr std::array beeper_fields{
    Field{"beeps_below_ohm", &Instrument::beeps_below_ohm, true, true},
    Field{"misjudged", &Instrument::misjudged, false, false},
};
constexpr std::array clamp_fields{
    Field{"noise_relative", &Instrument::noise_relative, false, false},
    Field{"noise_ampere", &Instrument::noise_absolute, false, false},
    Field{"resolution_ampere", &Instrument::resolution, true, true},
    Field{"full_scale_ampere", &Instrument::full_scale, true, true},
};

struct TypeFields {
  std::string_view name;
  Instrument::Type type;
  std::span<const Field> fields;
};

constexpr std::array types{
    TypeFields{"voltmeter", Instrument::Type::voltmeter, voltmeter_fields},
    TypeFields{"lamp", Instrument::Type::lamp, lamp_fields},
    TypeFields{"ohmmeter", Instrument::Type::ohmmeter, ohmmeter_fields},
    TypeFields{"beeper", Instrument::Type::beeper, beeper_fields},
    TypeFields{"clamp", Instrument::Type::clamp, clamp_fields},
};

bool has_field(const TypeFields& type, std::string_view key) {
  return std::any_of(type.fields.begin(), type.fields.end(),
                     [&](const Field& f) { return f.key == key; });
}

class Reader {
 public:
  explicit Reader(std::vector<Problem>& problems) : problems_(problems) {}

  readings::InstrumentSet read(const json& document) {
    readings::InstrumentSet set;
    for_members(document, "instruments", [&](const std::string& id, const json& value) {
      set.instruments.push_back(read_instrument(id, value));
    });
    if (const auto* senses = member(document, "senses")) {
      set.hear = read_sense(*senses, "hear");
      set.see = read_sense(*senses, "see");
      set.feel = read_sense(*senses, "feel");
    }
    if (const auto* given = member(document, "model_tolerance")) {
      auto& tolerance = set.tolerance;
      tolerance.relative = number_or(*given, "relative", tolerance.relative);
      tolerance.volt = number_or(*given, "volt", tolerance.volt);
      tolerance.ohm_relative = number_or(*given, "ohm_relative", tolerance.ohm_relative);
      tolerance.ampere_relative = number_or(*given, "ampere_relative", tolerance.ampere_relative);
      tolerance.insulation = number_or(*given, "insulation", tolerance.insulation);
    }
    set.repeat_correlation = number_or(document, "repeat_correlation", set.repeat_correlation);
    if (!(set.repeat_correlation >= 0 && set.repeat_correlation <= 1))
      add(Code::value, "'repeat_correlation' must be from 0 to 1", "/repeat_correlation");
    return set;
  }

 private:
  void add(Code code, std::string message, std::string pointer) {
    problems_.push_back({code, std::move(message), std::move(pointer)});
  }

  Instrument read_instrument(const std::string& id, const json& value) {
    const auto pointer = "/instruments/" + pointer_token(id);
    Instrument instrument;
    instrument.id = id;
    instrument.title = text_or(value, "title", id);
    instrument.minutes = number_or(value, "minutes", 0);
    instrument.cautions = texts_or_none(value, "cautions");
    if (const auto* errors = member(value, "errors")) {
      instrument.errors.no_contact = number_or(*errors, "no_contact", 0);
      instrument.errors.wrong_neighbour = number_or(*errors, "wrong_neighbour", 0);
      instrument.errors.wrong_state = number_or(*errors, "wrong_state", 0);
      instrument.errors.gross = number_or(*errors, "gross", 0);
    }
    if (!(instrument.errors.sum() < 1))
      add(Code::value, "The misreading probabilities must sum to less than 1", pointer + "/errors");
    const auto name = text_or(value, "type");
    const auto type = std::find_if(types.begin(), types.end(),
                                   [&](const TypeFields& t) { return t.name == name; });
    if (type == types.end()) {
      add(Code::schema, fmt::format("There is no type of instrument '{}'", name),
          pointer + "/type");
      return instrument;
    }
    instrument.type = type->type;
    read_fields(instrument, value, *type, pointer);
    check_together(instrument, pointer);
    return instrument;
  }

  void read_fields(Instrument& instrument, const json& value, const TypeFields& type,
                   const std::string& pointer) {
    for (const auto& field : type.fields) {
      const auto* given = member(value, field.key);
      if (given == nullptr) {
        if (field.required)
          add(Code::schema, fmt::format("A {} needs '{}'", type.name, field.key), pointer);
        continue;
      }
      const auto number = given->get<double>();
      instrument.*field.member = number;
      if (number < 0 || (field.positive && number == 0))
        add(Code::value,
            fmt::format("'{}' must be {} 0", field.key, field.positive ? "above" : "at least"),
            fmt::format("{}/{}", pointer, field.key));
    }
    for (const auto& [key, unused] : value.items()) {
      const auto& name = key;
      const bool elsewhere = std::any_of(types.begin(), types.end(),
                                         [&](const TypeFields& t) { return has_field(t, name); });
      if (elsewhere && !has_field(type, name))
        add(Code::schema, fmt::format("A {} has no '{}'", type.name, name),
            fmt::format("{}/{}", pointer, name));
    }
  }

  void check_together(const Instrument& instrument, const std::string& pointer) {
    const bool lamp = instrument.type == Instrument::Type::lamp;
    const bool beeper = instrument.type == Instrument::Type::beeper;
    if (lamp && !(instrument.dark_below < instrument.bright_from))
      add(Code::value, "'dark_below' must be less than 'bright_from'", pointer + "/dark_below");
    if ((lamp || beeper) && !(instrument.misjudged < 1))
      add(Code::value, "'misjudged' must be below 1", pointer + "/misjudged");
    if (!lamp && !beeper && !(instrument.resolution < instrument.full_scale))
      add(Code::value, "The resolution must be less than the full scale", pointer);
  }

  readings::Sense read_sense(const json& senses, const std::string& name) {
    readings::Sense sense;
    const auto* value = member(senses, name);
    if (value == nullptr) return sense;
    sense.missed = number_or(*value, "missed", 0);
    sense.imagined = number_or(*value, "false", 0);
    sense.wrong_state = number_or(*value, "wrong_state", 0);
    const auto pointer = "/senses/" + name;
    // A sign that is there is missed or, half as often as it is imagined, called chattering; see
    // readings::sign_probability. The right word must keep the larger part.
    if (!(sense.missed < 0.5)) add(Code::value, "'missed' must be below 0.5", pointer + "/missed");
    if (!(sense.imagined < 0.5)) add(Code::value, "'false' must be below 0.5", pointer + "/false");
    if (!(sense.wrong_state < 1))
      add(Code::value, "'wrong_state' must be below 1", pointer + "/wrong_state");
    return sense;
  }

  std::vector<Problem>& problems_;
};

}  // namespace

readings::InstrumentSet read_instruments(std::string_view text) {
  const auto document = parse_text(text);
  std::vector<Problem> problems;
  check_schema(document, "instruments", problems);
  throw_if_any(problems);
  auto set = Reader(problems).read(document);
  throw_if_any(std::move(problems));
  return set;
}

}  // namespace faultloom::documents
