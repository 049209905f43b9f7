// SPDX-License-Identifier: MIT
// catchfield species: the catalogue, with its sources.
#include "cli/commands.hpp"
#include "plan/species.hpp"

namespace catchfield::cli {

namespace {

class SpeciesCommand final : public Command {
  public:
    std::string_view name() const override { return "species"; }
    std::string_view summary() const override {
        return "lists the cover crop catalogue, with sources";
    }
    std::string_view description() const override {
        return "Lists cover crop species and mixtures, or shows one with the source of every value "
               "and\n"
               "how sure it is.";
    }
    PositionalSpec positional() const override { return {"[ID]", "Show this one in full.", 0, 1}; }
    std::vector<OptionSpec> options() const override {
        return {
            {"group", '\0', "grass|legume|brassica|mixture", "", "Only this group."},
            {"find", '\0', "TEXT", "", "Only names that hold this text."},
            {"overwinters", '\0', "", "", "Only those that can survive the winter."},
            {"catalogue", '\0', "FILE", "", "Your own species table, laid over the built-in one."},
            {"metric", '\0', "", "", "Show kg/ha instead of lb/ac."}};
    }
    void setup(const ParsedOptions& options) override {
        if (!options.positional.empty()) m_request.id = options.positional.front();
        m_request.group = options.text("group");
        m_request.find = options.text("find");
        m_request.catalogue = options.text("catalogue");
        m_request.overwinters = options.flag("overwinters");
        m_request.metric = options.flag("metric");
    }
    int run(Console& console) override {
        console.print(console.json ? plan::species_json(m_request) : plan::species_text(m_request));
        return all_done;
    }

  private:
    plan::SpeciesRequest m_request;
};

}  // namespace

std::unique_ptr<Command> species_command() {
    return std::make_unique<SpeciesCommand>();
}

}  // namespace catchfield::cli
