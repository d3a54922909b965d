import com.sun.jna.Native;
import com.sun.jna.Pointer;
import com.sun.jna.ptr.PointerByReference;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;

/** The reference job through the C interface, with JNA. See ../README.md for what is written. */
public final class Client {
  private final Faultloom library;
  private Pointer model;

  /** Why a call failed. */
  static final class Refused extends Exception {
    private static final long serialVersionUID = 1;
    final int status;
    final String name;
    final String pointer;
    final String details;

    Refused(Faultloom library, Pointer error) {
      super(text(library.faultloom_error_message(error)));
      status = library.faultloom_error_code(error);
      name = text(library.faultloom_status_name(status));
      pointer = text(library.faultloom_error_pointer(error));
      details = text(library.faultloom_error_details(error));
      library.faultloom_error_free(error);
    }
  }

  /** A call that takes its error last. */
  private interface Call {
    int run(PointerByReference error);
  }

  private interface ArrayCall {
    int run(double[] values, long capacity, long[] needed, PointerByReference error);
  }

  private interface Action {
    void run() throws Refused;
  }

  /** Notes what it is told and says stop at call number `stopAt`, if that is not 0. */
  private static final class Watcher implements Faultloom.Progress {
    final List<Double> shares = new ArrayList<>();
    final int stopAt;

    Watcher(int stopAt) {
      this.stopAt = stopAt;
    }

    @Override
    public int ask(double share, Pointer user) {
      shares.add(share);
      return shares.size() == stopAt ? 1 : 0;
    }
  }

  private Client(Faultloom library) {
    this.library = library;
  }

  private static String text(Pointer bytes) {
    return bytes.getString(0, "UTF-8");
  }

  private static byte[] bytes(String text) {
    return text.getBytes(StandardCharsets.UTF_8);
  }

  private void checked(Call call) throws Refused {
    PointerByReference error = new PointerByReference();
    if (call.run(error) != 0) {
      throw new Refused(library, error.getValue());
    }
  }

  private Pointer load(byte[] vehicle) throws Refused {
    PointerByReference made = new PointerByReference();
    long size = vehicle == null ? 0 : vehicle.length;
    checked(error -> library.faultloom_model_from_json(
        vehicle, size, null, 0, null, 0, null, 0, null, 0, null, null, made, error));
    return made.getValue();
  }

  private byte[] taken(PointerByReference answer) {
    Pointer handle = answer.getValue();
    int size = (int) library.faultloom_text_size(handle);
    byte[] copy = library.faultloom_text_data(handle).getByteArray(0, size);
    library.faultloom_text_free(handle);
    return copy;
  }

  private byte[] rank(byte[] job) throws Refused {
    byte[] options = bytes("{\"top\":10,\"budget_sets\":500}");
    PointerByReference answer = new PointerByReference();
    checked(error -> library.faultloom_rank(
        model, job, job.length, options, options.length, null, null, answer, error));
    return taken(answer);
  }

  private byte[] nextStep(byte[] job, Watcher watcher) throws Refused {
    byte[] options = bytes("{\"alternatives\":1}");
    PointerByReference answer = new PointerByReference();
    checked(error -> library.faultloom_next_step(
        model, job, job.length, options, options.length, watcher, null, answer, error));
    return taken(answer);
  }

  private String names() throws Refused {
    long[] count = new long[1];
    PointerByReference first = new PointerByReference();
    PointerByReference last = new PointerByReference();
    checked(error -> library.faultloom_terminal_count(model, count, error));
    checked(error -> library.faultloom_terminal_name(model, 0, first, error));
    checked(error -> library.faultloom_terminal_name(model, count[0] - 1, last, error));
    String terminals =
        "terminals " + count[0] + " " + text(first.getValue()) + " " + text(last.getValue());
    checked(error -> library.faultloom_mode_count(model, count, error));
    checked(error -> library.faultloom_mode_name(model, 0, first, error));
    checked(error -> library.faultloom_mode_name(model, count[0] - 1, last, error));
    return terminals + "\nmodes " + count[0] + " " + text(first.getValue()) + " "
        + text(last.getValue()) + "\n";
  }

  private List<Double> array(ArrayCall call) throws Refused {
    long[] needed = new long[1];
    checked(error -> call.run(null, 0, needed, error));
    double[] values = new double[(int) needed[0]];
    checked(error -> call.run(values, values.length, needed, error));
    List<Double> list = new ArrayList<>();
    for (double value : values) {
      list.add(value);
    }
    return list;
  }

  private static String numbers(String name, List<Double> values) {
    StringBuilder line = new StringBuilder(name);
    for (double value : values) {
      line.append(' ').append(value);
    }
    return line.append('\n').toString();
  }

  private static Refused refusal(Action action) {
    try {
      action.run();
    } catch (Refused refused) {
      return refused;
    }
    throw new IllegalStateException("a call that must fail did not");
  }

  private String refusals(byte[] broken, Path folder) throws IOException {
    Refused problem = refusal(() -> load(broken));
    Files.write(folder.resolve("details.json"), bytes(problem.details));
    Refused missing = refusal(() -> load(null));
    return "error " + problem.status + " " + problem.name + " " + problem.pointer + "\nmessage "
        + problem.getMessage() + "\nmissing " + missing.status + " " + missing.getMessage() + "\n";
  }

  private void run(byte[] vehicle, byte[] job, byte[] broken, Path folder)
      throws Refused, IOException {
    model = load(vehicle);
    byte[] situation = bytes("{\"state\":{\"key\":\"on\"}}");
    StringBuilder facts = new StringBuilder();
    facts.append("version ").append(text(library.faultloom_version())).append('\n');
    facts.append("abi ").append(library.faultloom_abi_version()).append('\n');
    facts.append(names());
    facts.append(numbers("volts", array((values, room, needed, error) ->
        library.faultloom_terminal_volts(
            model, situation, situation.length, values, room, needed, error))));
    facts.append(numbers("posteriors", array((values, room, needed, error) ->
        library.faultloom_mode_posteriors(
            model, job, job.length, null, null, values, room, needed, error))));

    Files.write(folder.resolve("ranking.json"), rank(job));
    Watcher patient = new Watcher(0);
    Files.write(folder.resolve("step.json"), nextStep(job, patient));
    facts.append(numbers("shares", patient.shares));
    Watcher impatient = new Watcher(3);
    Refused stopped = refusal(() -> nextStep(job, impatient));
    facts.append("cancelled ").append(stopped.status).append(' ');
    facts.append(impatient.shares.size()).append('\n');
    library.faultloom_model_free(model);

    facts.append(refusals(broken, folder));
    Files.write(folder.resolve("facts.txt"), bytes(facts.toString()));
  }

  public static void main(String[] arguments) throws Exception {
    Faultloom library = Native.load(arguments[0], Faultloom.class);
    new Client(library).run(Files.readAllBytes(Path.of(arguments[1])),
        Files.readAllBytes(Path.of(arguments[2])), Files.readAllBytes(Path.of(arguments[3])),
        Path.of(arguments[4]));
  }
}
